#pragma once

#include <filesystem>
#include <string>

#include <nlohmann/json.hpp>

#include "tests/support/command.h"

namespace nightswing::test {

/// Runs `nightswing ARGUMENTS` as a user would.
[[nodiscard]] CommandResult nightswing_command(const std::string& arguments);

/// Runs `demo_night ARGUMENTS`.
[[nodiscard]] CommandResult demo_night_command(const std::string& arguments);

/// Reads a JSON file; fails the test if it cannot.
[[nodiscard]] nlohmann::json read_json(const std::filesystem::path& path);

/// Makes a run folder without a video: a swing by its closed form on both sides of a 100 mm shift
/// (plus until 2 h, then minus), mapped to pixels by a line of 0.4 mm per pixel.
void make_synthetic_run(const std::filesystem::path& folder);

/// Makes such a run and analyses it.
///   folder  where its apparatus file is written
/// Gives back the run's folder, `folder`/run.
[[nodiscard]] std::string make_analysed_run(const std::filesystem::path& folder);

/// Runs a script of tests/browser with these words.
[[nodiscard]] CommandResult browser_script(const std::string& words);

/// Has check_page.py look at the page at an address.
///   more  further options of the script
[[nodiscard]] CommandResult check_in_browser(const std::string& address, const std::string& more);

/// The seconds of the refusal "the spot swings once in X s, so it is a time-lapse".
[[nodiscard]] double swing_told_s(const std::string& errors);

/// An apparatus file that is right, for the tests of wrong ones to change one thing in.
[[nodiscard]] std::string good_apparatus();

}  // namespace nightswing::test
