// Nights with one fault each, as H.264 keeps them: how many frames are measured, how many wrongly,
// and whether the stated uncertainty covers what the film's coding does. A table on standard
// output.

#include <cstdio>
#include <string>
#include <vector>

#include "tests/support/night_troubles.h"

namespace {

using namespace nightswing::test;

struct Night {
  std::string name;
  TroubledNight night;
};

/// The spot's speed is what coding minds most: from 8 px a frame at most to a creep of 0.05.
std::vector<Night> quiet_nights() {
  std::vector<Night> nights;
  for (const double period_frames : {120.0, 1000.0, 20'000.0}) {
    nights.push_back({"quiet, " + std::to_string(static_cast<int>(period_frames)) + " a period",
                      {.period_frames = period_frames}});
  }
  return nights;
}

std::vector<Night> faulty_nights() {
  return {{"reflection", {.troubles = {reflection(180, 340.4)}}},
          {"reflection where it turns", {.troubles = {reflection(180, 388.0)}}},
          {"two reflections", {.troubles = {reflection(180, 340.4), reflection(150, 140.0)}}},
          {"ghost of 0.15", {.troubles = {moving_ghost(0.15, -0.8)}}},
          {"ghost of 0.3", {.troubles = {moving_ghost(0.3, -0.6)}}},
          {"ghost of 0.5", {.troubles = {moving_ghost(0.5, -1.0)}}},
          {"lamp, dawn", {.troubles = {lamp_and_dawn}}},
          {"lamp, dawn, reflection", {.troubles = {lamp_and_dawn, reflection(180, 340.4)}}},
          {"hot pixels", {.troubles = {hot_pixels}}},
          {"person", {.troubles = {person}}},
          {"person, reflection", {.troubles = {reflection(180, 340.4), person}}},
          {"torch", {.troubles = {torch}}},
          {"leaves the frame", {.amplitude_px = 300}},
          {"black frames", {.troubles = {black_frames}}},
          {"black frames, reflection", {.troubles = {reflection(180, 340.4), black_frames}}},
          {"exposure", {.troubles = {exposure}}}};
}

void print(const Night& night) {
  const NightOutcome outcome = run_night(night.night);
  std::printf("%-26s %8.2f %6d/%-5d %4d %9.2f %7.3f %6.2f %s\n",
              night.name.c_str(),
              100.0 * outcome.visible_measured / outcome.visible,
              outcome.wrong,
              outcome.measured,
              outcome.longest_wrong,
              outcome.worst_px,
              outcome.rms_px,
              outcome.pull_width,
              outcome.failures.substr(0, 60).c_str());
  std::fflush(stdout);
}

}  // namespace

int main() {
  for (const std::string encoding : {"", "-crf 18", "-crf 23", "-crf 23 -preset veryfast"}) {
    std::printf("%s\n",
                encoding.empty() ? "as the camera gives it" : ("H.264 " + encoding).c_str());
    std::printf("%-26s %8s %12s %4s %9s %7s %6s %s\n",
                "night",
                "share %",
                "wrong",
                "row",
                "worst px",
                "rms px",
                "pull",
                "not measured, !wrong");
    std::vector<Night> nights = quiet_nights();
    for (Night& night : faulty_nights()) nights.push_back(night);
    for (Night& night : nights) {
      if (!encoding.empty())
        night.night.encoding = "-c:v libx264 -bf 2 -pix_fmt yuv420p " + encoding;
      print(night);
    }
  }
  return 0;
}
