#pragma once

#include <memory>

#include <CLI/App.hpp>

namespace nightswing::tracker {

/// The whole command line: name, version, cautions and every command.
[[nodiscard]] std::unique_ptr<CLI::App> make_program();

}  // namespace nightswing::tracker
