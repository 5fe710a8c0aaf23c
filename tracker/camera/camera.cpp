#include "tracker/camera/camera.h"

namespace nightswing::tracker {

std::string text_of(const std::vector<CameraSetting>& settings) {
  if (settings.empty()) return "not known";
  std::string text;
  for (const CameraSetting& setting : settings) {
    if (!text.empty()) text += ", ";
    text += setting.name + ' ' + setting.value;
  }
  return text;
}

}  // namespace nightswing::tracker
