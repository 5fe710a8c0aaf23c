// Whether the analysis keeps its promises, in figures:
//   swing_bench coverage [NIGHTS]   intervals over simulated nights with every input redrawn
//   swing_bench speed [FILE]        seconds for a 12 h night at 1 Hz and at 10 Hz, Monte Carlo
//                                   included; the first of them for tests/bench/swing_speed.py
//   swing_bench kicks [NIGHTS]      kicks reported in nights without any, and found where there are
//   swing_bench moves [NIGHTS]      G by the first acceleration after the moves
//   swing_bench falls [NIGHTS]      the first acceleration itself in white nights, without balance
//   swing_bench tracks FOLDER [N]   writes nights for tests/bench/swing_reference.py, with our
//                                   answers
//   swing_bench hours FOLDER [N] [S]  writes longer and longer nights of S (3, or 2) segments for
//                                   tests/bench/swing_hours.py, with our answers
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <numbers>
#include <string>

#include <fmt/format.h>
#include <fmt/os.h>

#include "analysis/quantities/student_t.h"
#include "tests/support/night_trial.h"

namespace {

using namespace nightswing::analysis;
using namespace nightswing::test;

struct Count {
  int nights = 0;
  int in_68 = 0;
  int in_95 = 0;
  double square = 0.0;
  double u = 0.0;

  void add(double off, double u_of, double freedom) {
    ++nights;
    in_68 += std::abs(off) < coverage_factor(0.6827, freedom) * u_of ? 1 : 0;
    in_95 += std::abs(off) < coverage_factor(0.95, freedom) * u_of ? 1 : 0;
    square += off * off;
    u += u_of;
  }
  void add(double truth, const MonteCarloResult& drawn) {
    ++nights;
    const auto holds = [&](const Interval& i) { return truth > i.low && truth < i.high; };
    in_68 += holds(drawn.symmetric_68) ? 1 : 0;
    in_95 += holds(drawn.symmetric) ? 1 : 0;
    square += std::pow(drawn.mean - truth, 2);
    u += drawn.u;
  }
  void print(std::string_view what, double unit) const {
    fmt::print("    {:8} r.m.s. error {:.4f}, mean u {:.4f}, 68 %: {:.1f}, 95 %: {:.1f}\n",
               what,
               std::sqrt(square / nights) / unit,
               u / nights / unit,
               100.0 * in_68 / nights,
               100.0 * in_95 / nights);
  }
};

void coverage(int nights) {
  Count all;
  Count all_shifts;
  std::uint32_t seed = 20000;
  for (const NightKind& kind : night_kinds()) {
    Count g;
    Count shift;
    Count period;
    double least_squares = 0.0;
    int refused = 0;
    for (int k = 0; k < nights / std::ssize(night_kinds()); ++k) {
      const NightTrial trial = try_night(kind, seed++);
      if (trial.result.status != NightStatus::kMeasured) {
        ++refused;
        continue;
      }
      const SwingFit& fit = trial.result.fit;
      const double off = fit.shift_mm.value - trial.true_shift_mm;
      for (Count* c : {&g, &all}) c->add(trial.true_g, trial.result.monte_carlo->result);
      for (Count* c : {&shift, &all_shifts}) {
        c->add(off, fit.shift_mm.u, fit.degrees_of_freedom);
      }
      period.add(fit.period_s.value - kind.night.period_s, fit.period_s.u, fit.degrees_of_freedom);
      least_squares += std::pow(fit.least_squares_shift_mm.value - trial.true_shift_mm, 2);
    }
    fmt::print("{}: {} nights, {} refused; least squares r.m.s. {:.4f} mm\n",
               kind.name,
               g.nights,
               refused,
               std::sqrt(least_squares / g.nights));
    g.print("G", 6.6743e-13);
    shift.print("shift", 1.0);
    period.print("period", 1.0);
  }
  fmt::print("all: {} nights (G in %, shift in mm)\n", all.nights);
  all.print("G", 6.6743e-13);
  all_shifts.print("shift", 1.0);
}

/// t_s, x_mm, side (1 or -1).
void write_track(const std::filesystem::path& path,
                 const std::vector<SwingSample>& samples,
                 const std::vector<SideChange>& sides) {
  auto file = fmt::output_file(path.string());
  file.print("t_s,x_mm,side\n");
  std::size_t now = 0;
  for (const SwingSample& s : samples) {
    while (now + 1 < sides.size() && s.t_s >= sides[now + 1].t_s) ++now;
    file.print("{},{:.9g},{}\n", s.t_s, s.x_mm, sides[now].side == Side::kPlus ? 1 : -1);
  }
}

void speed(const char* file) {
  for (const double every_s : {1.0, 0.1}) {
    DrivenNight swing = night_kinds().at(1).night;
    swing.end_s = 43200.0;
    swing.every_s = every_s;
    swing.sides[1].t_s = 21600.0;
    Night night;
    const auto samples = make_driven(swing).samples;
    if (file != nullptr && every_s == 1.0) write_track(file, samples, swing.sides);
    for (const SwingSample& s : samples) {
      night.samples.push_back({s.t_s, s.x_mm, 35.0, s.u_mm, s.u_mm});
    }
    night.sides = swing.sides;
    const auto apparatus = measured_balance(7);
    const auto begin = std::chrono::steady_clock::now();
    const std::clock_t processor_begin = std::clock();
    const NightResult result = analyse_night(night, apparatus);
    const double processor_s =
        static_cast<double>(std::clock() - processor_begin) / static_cast<double>(CLOCKS_PER_SEC);
    const std::chrono::duration<double> taken = std::chrono::steady_clock::now() - begin;
    fmt::print(
        "{} positions: {:.2f} s ({:.2f} s of processor time), {} trials of the Monte Carlo ({}), "
        "shift {:.4f} mm\n",
        night.samples.size(),
        taken.count(),
        processor_s,
        result.monte_carlo ? result.monte_carlo->result.trials : 0,
        name_of(result.status),
        result.fit.shift_mm.value);
  }
}

/// G by the first acceleration after the moves, beside G by the equilibria.
void accelerations(int nights) {
  std::uint32_t seed = 50000;
  for (const NightKind& kind : night_kinds()) {
    Count by_moves;
    double sum = 0.0;
    double square = 0.0;
    double together = 0.0;
    double main_square = 0.0;
    int contradicted = 0;
    for (int k = 0; k < nights / std::ssize(night_kinds()); ++k) {
      const NightTrial trial = try_night(kind, seed++, 0);
      contradicted += trial.result.warnings.empty() ? 0 : 1;
      const auto& opinions = trial.result.consistency.opinions;
      const auto found = std::ranges::find_if(
          opinions, [](const Opinion& o) { return o.method.starts_with("first acceleration"); });
      if (trial.result.status != NightStatus::kMeasured || found == opinions.end()) continue;
      // Masses and lengths are off alike in both: leave them out.
      const double shift_off = trial.result.fit.shift_mm.value / trial.true_shift_mm - 1.0;
      const double g = trial.result.gravity->g_m3_kg_s2;
      const double off = found->g_m3_kg_s2.value / g * (1.0 + shift_off) - 1.0;
      const double u = found->g_m3_kg_s2.u / g;
      by_moves.add(off, u, 1e9);
      sum += off / u;
      square += off / u * off / u;
      together += off * shift_off;
      main_square += shift_off * shift_off;
    }
    const double n = by_moves.nights;
    fmt::print(
        "{}: {:.0f} nights, pull mean {:.2f}, width {:.2f}, correlation with the equilibria "
        "{:.2f}\n",
        kind.name,
        n,
        sum / n,
        std::sqrt(square / n),
        together / std::sqrt(by_moves.square * main_square),
        contradicted);
    by_moves.print("G in %", 1e-2);
  }
}

/// The swing fit of a night whose moves are known.
SwingFit fit_of(const DrivenNight& night, const DrivenTrack& track) {
  const auto start = scan_period(track.samples, night.sides);
  return fit_swing(track.samples, segments_between(night.sides, night.end_s, 0.0), *start);
}

/// How far the first acceleration after the move is off in white nights, no apparatus in between.
void falls(int nights) {
  double sum = 0.0;
  double square = 0.0;
  int n = 0;
  for (int k = 0; k < nights; ++k) {
    DrivenNight night = night_kinds().at(0).night;
    night.seed = 200000 + static_cast<std::uint32_t>(k);
    const DrivenTrack track = make_driven(night);
    const SwingFit fit = fit_of(night, track);
    const auto move = fit_source_move(track.samples, fit, 0, 0.1 * fit.period_s.value);
    if (!move) continue;
    const double omega = 2.0 * std::numbers::pi / night.period_s;
    const double true_mm_per_s2 = (omega * omega + night.damping_per_s * night.damping_per_s) *
                                  (night.minus_mm - night.plus_mm);
    const double off = move->acceleration_mm_per_s2.value / true_mm_per_s2 - 1.0;
    sum += off;
    square += off * off;
    ++n;
  }
  fmt::print(
      "{} of {} nights: first acceleration off by {:.5f} +- {:.5f} % on average, r.m.s. {:.4f} %\n",
      n,
      nights,
      100.0 * sum / n,
      100.0 * std::sqrt(square) / n,
      100.0 * std::sqrt(square / n));
}

/// In how many of the nights a kick is reported, and how many kicks in all.
void count_kicks(std::string_view what, DrivenNight night, int nights) {
  int with_any = 0;
  std::size_t reported = 0;
  for (int k = 0; k < nights; ++k) {
    night.seed = 90000 + static_cast<std::uint32_t>(k);
    const std::size_t kicks = fit_of(night, make_driven(night)).kicks.size();
    with_any += kicks > 0 ? 1 : 0;
    reported += kicks;
  }
  fmt::print(
      "{}: kicks reported in {} of {} nights ({} in all)\n", what, with_any, nights, reported);
}

/// How often one kick of so much swing is reported, within 30 s of where it was.
void count_found(std::string_view what, DrivenNight night, double kick_mm, int nights) {
  night.kicks = 1;
  night.kick_mm = kick_mm;
  int found = 0;
  for (int k = 0; k < nights; ++k) {
    night.seed = 91000 + static_cast<std::uint32_t>(k);
    const DrivenTrack track = make_driven(night);
    for (const Kick& kick : fit_of(night, track).kicks) {
      if (std::abs(kick.t_s - track.kicks_s[0]) > 30.0) continue;
      ++found;
      break;
    }
  }
  fmt::print("{}, one kick of {} mm: found in {} of {} nights\n", what, kick_mm, found, nights);
}

void kicks(int nights) {
  const DrivenNight white = night_kinds().at(0).night;
  DrivenNight torque = white;
  torque.torque_mm = 0.3;
  DrivenNight slow = white;
  slow.slow_mm = 0.3;
  using Named = std::pair<std::string_view, DrivenNight>;
  for (const auto& [what, night] :
       {Named{"white", white}, Named{"white and torque", torque}, Named{"slow", slow}}) {
    count_kicks(what, night, nights);
  }
  for (const double kick_mm : {0.2, 0.5, 1.0, 2.0}) {
    count_found("white", white, kick_mm, nights / 5);
    count_found("white and torque", torque, kick_mm, nights / 5);
  }
}

void write_tracks(const std::filesystem::path& folder, int nights) {
  std::filesystem::create_directories(folder);
  auto answers = fmt::output_file((folder / "answers.csv").string());
  answers.print("kind,night,true_shift_mm,shift_mm,u_mm,seconds\n");
  for (std::size_t kind = 0; kind < 2; ++kind) {
    for (int k = 0; k < nights; ++k) {
      DrivenNight swing = night_kinds()[kind].night;
      swing.seed = 70000 + static_cast<std::uint32_t>(k);
      const auto samples = make_driven(swing).samples;
      write_track(folder / fmt::format("{}_{}.csv", kind, k), samples, swing.sides);
      const auto begin = std::chrono::steady_clock::now();
      const auto start = scan_period(samples);
      const SwingFit fit =
          fit_swing(samples, segments_between(swing.sides, swing.end_s, 0.0), *start);
      const std::chrono::duration<double> taken = std::chrono::steady_clock::now() - begin;
      answers.print("{},{},{},{},{},{}\n",
                    kind,
                    k,
                    swing.plus_mm - swing.minus_mm,
                    fit.shift_mm.value,
                    fit.shift_mm.u,
                    taken.count());
    }
  }
}

/// Nights that differ in nothing but how long they were watched, on plus, minus and so on:
/// random torque, slow noise and drift; no kicks, gaps or false readings.
std::vector<NightKind> nights_to_wait_for() {
  DrivenNight stirred = night_kinds().at(1).night;
  DrivenNight small = stirred;
  small.plus_mm = 210.0;
  small.minus_mm = 190.0;
  small.torque_mm = 0.3;
  small.slow_mm = 0.2;
  small.drift_mm_per_hour = 0.5;
  DrivenNight ringing = small;
  ringing.damping_per_s = stirred.damping_per_s / 3.0;
  return {{"shift 87 mm, Q = 10, stirred", stirred},
          {"shift 20 mm, Q = 10, stirred, drifting", small},
          {"shift 20 mm, Q = 30, stirred, drifting", ringing}};
}

void write_hours(const std::filesystem::path& folder, int nights, int segments) {
  std::filesystem::create_directories(folder);
  auto answers = fmt::output_file((folder / "answers.csv").string());
  answers.print("kind;hours;night;true_shift_mm;shift_mm;file\n");
  const auto kinds = nights_to_wait_for();
  for (std::size_t kind = 0; kind < kinds.size(); ++kind) {
    for (double hours = 0.5; hours < 17.0; hours *= std::sqrt(2.0)) {
      for (int k = 0; k < nights; ++k) {
        DrivenNight swing = kinds[kind].night;
        swing.seed = 80000 + static_cast<std::uint32_t>(k);
        swing.end_s = 3600.0 * hours;
        swing.sides.clear();
        for (int n = 0; n < segments; ++n) {
          swing.sides.push_back(
              {n % 2 == 0 ? Side::kPlus : Side::kMinus, swing.end_s * n / segments});
        }
        const DrivenTrack track = make_driven(swing);
        const auto file = fmt::format("{}_{:.2f}h_{}.csv", kind, hours, k);
        write_track(folder / file, track.samples, swing.sides);
        answers.print("{};{:.4f};{};{};{};{}\n",
                      kinds[kind].name,
                      hours,
                      k,
                      swing.plus_mm - swing.minus_mm,
                      fit_of(swing, track).shift_mm.value,
                      file);
      }
    }
  }
}

}  // namespace

// NOLINTNEXTLINE(bugprone-exception-escape): what a bench cannot do ends it, with a message
int main(int argc, char** argv) {
  std::setvbuf(stdout, nullptr, _IOLBF, 0);  // the bench is slow: show each line when it is there
  const std::string what = argc > 1 ? argv[1] : "";
  if (what == "coverage") {
    coverage(argc > 2 ? std::atoi(argv[2]) : 1000);
  } else if (what == "speed") {
    speed(argc > 2 ? argv[2] : nullptr);
  } else if (what == "moves") {
    accelerations(argc > 2 ? std::atoi(argv[2]) : 400);
  } else if (what == "falls") {
    falls(argc > 2 ? std::atoi(argv[2]) : 400);
  } else if (what == "kicks") {
    kicks(argc > 2 ? std::atoi(argv[2]) : 200);
  } else if (what == "tracks" && argc > 2) {
    write_tracks(argv[2], argc > 3 ? std::atoi(argv[3]) : 40);
  } else if (what == "hours" && argc > 2) {
    write_hours(argv[2], argc > 3 ? std::atoi(argv[3]) : 30, argc > 4 ? std::atoi(argv[4]) : 3);
  } else {
    fmt::print(stderr,
               "usage: swing_bench coverage [NIGHTS] | speed [FILE] | kicks [NIGHTS] | "
               "moves [NIGHTS] | falls [NIGHTS] | tracks FOLDER [NIGHTS] | hours FOLDER [NIGHTS] "
               "[SEGMENTS]\n");
    return 2;
  }
  return 0;
}
