#pragma once

#include <string>
#include <vector>

#include <CLI/App.hpp>

#include "tracker/page/page_address.h"

namespace nightswing::tracker {

/// The options of a command that has a live page.
struct PageArguments {
  std::string address;
  bool open = false;
  CLI::Option* option = nullptr;

  [[nodiscard]] bool is_wanted() const { return option->count() > 0; }
};

/// Adds --page and --page-open; `when` says when there is a page.
void add_page_options(CLI::App& command, PageArguments& arguments, const std::string& when);

/// throws InputError for an address that is none or is reachable without --page-open.
[[nodiscard]] PageAddress page_address(const PageArguments& arguments);

/// Where to look, on stderr.
void print_page(const std::vector<std::string>& urls);
/// That there is no page, on stderr; whatever the command does goes on.
void print_no_page(const std::string& why);

}  // namespace nightswing::tracker
