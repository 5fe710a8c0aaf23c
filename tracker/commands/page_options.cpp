#include "tracker/commands/page_options.h"

#include <cstdio>

#include <fmt/format.h>

#include "tracker/text/say.h"

namespace nightswing::tracker {

void add_page_options(CLI::App& command, PageArguments& arguments, const std::string& when) {
  arguments.option =
      command
          .add_option("--page",
                      arguments.address,
                      when +
                          ", at this address and port; 127.0.0.1:8080 if none is given, which "
                          "only this computer can open")
          ->type_name("[ADDRESS:]PORT")
          ->expected(0, 1);
  command
      .add_flag("--page-open",
                arguments.open,
                "allow an address of --page that others can open (0.0.0.0:8080 for a phone in the "
                "same network); they need the token in the printed address, which travels "
                "unencrypted")
      ->needs(arguments.option);
}

PageAddress page_address(const PageArguments& arguments) {
  return parse_page_address(arguments.address, arguments.open);
}

void print_page(const std::vector<std::string>& urls) {
  for (const std::string& url : urls) say(stderr, fmt::format("live page: {}\n", url));
}

void print_no_page(const std::string& why) {
  say(stderr, fmt::format("warning: {}; going on without a page\n", why));
}

}  // namespace nightswing::tracker
