#include "tracker/film/film_contents.h"

#include <array>
#include <filesystem>
#include <string_view>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "analysis/positions/spot_path.h"
#include "analysis/quantities/input_error.h"
#include "analysis/quantities/quantity.h"
#include "tracker/result/night_of_run.h"
#include "tracker/run/event_log.h"
#include "tracker/run/line_file.h"
#include "tracker/text/shell_word.h"

namespace nightswing::tracker {
namespace {

/// `6.623(86)e-11 ...` with the power of ten as people write it.
std::string with_raised_power(std::string text) {
  constexpr std::array<std::string_view, 10> kRaised{"\u2070",
                                                     "\u00b9",
                                                     "\u00b2",
                                                     "\u00b3",
                                                     "\u2074",
                                                     "\u2075",
                                                     "\u2076",
                                                     "\u2077",
                                                     "\u2078",
                                                     "\u2079"};
  const std::size_t e = text.find("e-");
  if (e == std::string::npos) return text;
  std::size_t end = e + 2;
  std::string power = " \u00d7 10\u207b";
  while (end < text.size() && text[end] >= '0' && text[end] <= '9') {
    power += kRaised.at(static_cast<std::size_t>(text[end++] - '0'));
  }
  return text.replace(e, end - e, power);
}

void add_result(const RunFolder& run, FilmContents& contents) {
  if (!std::filesystem::exists(run.result_json())) return;
  try {
    const auto json = nlohmann::json::parse(read_whole_file(run.result_json()));
    contents.title = json.at("apparatus").get<std::string>();
    for (const auto& s : json.at("segments")) {
      contents.segments.push_back({.side = s.at("side").get<std::string>(),
                                   .from_s = s.at("from_s").get<double>(),
                                   .to_s = s.at("to_s").get<double>(),
                                   .equilibrium_mm = s.at("equilibrium_mm").at("value")});
    }
    if (const auto& g = json.at("G"); !g.is_null()) {
      contents.g_text = with_raised_power(
          analysis::format_quantity({g.at("value").get<double>(), g.at("u").get<double>()},
                                    "m\u00b3 kg\u207b\u00b9 s\u207b\u00b2"));
      contents.blinded = json.value("blinded", false);
    }
  } catch (const nlohmann::json::exception& error) {
    throw InputError(fmt::format("{} cannot be read ({}); run 'nightswing analyse {}' again",
                                 run.result_json().string(),
                                 error.what(),
                                 shell_word(run.path.string())));
  }
}

void add_moments(const RunFolder& run, const NightOfRun& night, FilmContents& contents) {
  const auto path = analysis::fit_path(night.night.samples);
  const auto series = analysis::along_path(path, night.night.samples);
  std::vector<ShownSample> samples;
  for (std::size_t i = 0; i < series.size(); ++i) {
    samples.push_back({.t_s = series[i].t_s,
                       .x_mm = series[i].x_mm,
                       .u_mm = series[i].u_mm,
                       .residual_mm = {},
                       .left_out = false,
                       .pixel = night.pixels[i]});
  }
  contents.path = PathInPicture::of(samples);
  std::size_t next = 0;
  for (const TrackRow& row : read_track(run.track()).rows) {
    FilmMoment moment{.t_s = row.t_s, .state = row.spot.state, .spot = {}, .x_mm = {}};
    if (is_measured(row.spot.state)) moment.spot = row.spot.position;
    while (next < series.size() && series[next].t_s < row.t_s) ++next;
    if (next < series.size() && series[next].t_s == row.t_s) moment.x_mm = series[next].x_mm;
    contents.moments.push_back(moment);
  }
}

/// The marks, which tell the moments of the moves, unless the analysis went by other sides.
std::vector<FilmSide> sides_of(const std::vector<analysis::SideChange>& marks,
                               const std::vector<FilmSegment>& segments) {
  std::vector<FilmSide> marked;
  for (const auto& change : marks) {
    marked.push_back({change.t_s, std::string(name_of(change.side))});
  }
  std::vector<FilmSide> analysed;
  bool agree = !marked.empty();
  for (const FilmSegment& s : segments) {
    analysed.push_back({s.from_s, s.side});
    agree = agree && marked.front().t_s <= s.from_s;
    for (std::size_t k = 0; k < marked.size(); ++k) {
      const bool ends_before = k + 1 < marked.size() && marked[k + 1].t_s <= s.from_s;
      const bool touches = marked[k].t_s < s.to_s && !ends_before;
      agree = agree && (!touches || marked[k].side == s.side);
    }
  }
  return agree ? marked : analysed;
}

}  // namespace

calibration::PixelPoint FilmContents::in_frame(double t_s, calibration::PixelPoint p) const {
  if (!camera) return p;
  // The correction leads from the frame to the calibrated picture; its inverse by fixed point, the
  // motions being small against the picture.
  calibration::PixelPoint place = p;
  for (int k = 0; k < 4; ++k) {
    const calibration::PixelPoint back = camera->steady(t_s, place).pixel;
    place = {place.x_px + p.x_px - back.x_px, place.y_px + p.y_px - back.y_px};
  }
  return place;
}

FilmContents film_contents(const RunFolder& run) {
  const NightOfRun night = read_night(run);
  FilmContents contents{.info = night.info,
                        .title = run.path.filename().string(),
                        .moments = {},
                        .segments = {},
                        .sides = {},
                        .captions = {},
                        .g_text = {},
                        .path = {},
                        .camera = read_camera_correction(run, night.info).correction};
  add_moments(run, night, contents);
  add_result(run, contents);
  contents.sides = sides_of(night.night.sides, contents.segments);
  return contents;
}

}  // namespace nightswing::tracker
