#pragma once

#include <string>

#include <CLI/App.hpp>

namespace nightswing::tracker {

/// Shown where hands are at work, which can hurt someone.
inline constexpr const char* kCautions =
    "Use a class 2 laser (at most 1 mW, visible), never look into the beam or its\n"
    "reflection, keep it off eye height and end it on the wall. Secure heavy masses, keep hands "
    "and\n"
    "feet from under them; wear eye protection while hanging a loaded wire. Wash your hands after\n"
    "touching lead, keep it from children and food. Local rules and the person responsible for "
    "the\n"
    "room come first.";

/// Adds every command; the chosen one runs while the arguments are parsed.
/// They throw InputError when the work cannot be done.
void add_commands(CLI::App& app);

/// Says what to do with a run that has been tracked; `calibrated`: it has a map of the wall.
void print_next_step(const std::string& run, bool calibrated);

void add_plan_command(CLI::App& app);
void add_scale_command(CLI::App& app);
void add_aim_command(CLI::App& app);
void add_watch_command(CLI::App& app);
void add_replay_command(CLI::App& app);
void add_calibrate_command(CLI::App& app);
void add_mark_command(CLI::App& app);
void add_analyse_command(CLI::App& app);
void add_film_command(CLI::App& app);

}  // namespace nightswing::tracker
