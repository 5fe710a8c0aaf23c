#pragma once

#include <string>

#include <CLI/App.hpp>

/// Texts for the shell, made from the command line itself, so that they never differ from it.
namespace nightswing::tracker {

/// The manual page (man 1), roff.
[[nodiscard]] std::string manual_page(const CLI::App& program);

/// Completion of commands, options and the words that an option takes; file names elsewhere.
[[nodiscard]] std::string bash_completion(const CLI::App& program);
[[nodiscard]] std::string zsh_completion(const CLI::App& program);
[[nodiscard]] std::string fish_completion(const CLI::App& program);

}  // namespace nightswing::tracker
