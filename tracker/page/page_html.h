#pragma once

#include <string>

namespace nightswing::tracker {

struct PageTexts {
  std::string title;
  std::string cautions;
  bool has_chart = false;
  bool can_mark = false;
};

/// The page before anything is filled in; its script does that. Nothing in it comes from elsewhere.
[[nodiscard]] std::string page_html(const PageTexts& texts);

[[nodiscard]] std::string page_css();
[[nodiscard]] std::string page_js();

}  // namespace nightswing::tracker
