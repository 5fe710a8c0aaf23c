#include "tracker/text/text_lines.h"

#include <sstream>

namespace nightswing::tracker {

std::string in_lines(const std::string& sentence, std::string_view indent) {
  constexpr std::size_t kPageWidth = 96;
  std::string text;
  std::string line(indent);
  std::istringstream words(sentence);
  for (std::string word; words >> word;) {
    if (line.size() > indent.size() && line.size() + 1 + word.size() > kPageWidth) {
      text += line + '\n';
      line = indent;
    }
    if (line.size() > indent.size()) line += ' ';
    line += word;
  }
  return text + line + '\n';
}

std::string listed(std::string_view title, const std::vector<std::string>& sentences) {
  if (sentences.empty()) return {};
  std::string text = std::string(title) + '\n';
  for (const std::string& sentence : sentences) text += in_lines(sentence, "    ");
  return text;
}

}  // namespace nightswing::tracker
