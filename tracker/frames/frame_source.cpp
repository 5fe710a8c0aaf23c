#include "tracker/frames/frame_source.h"

#include <filesystem>

#include "tracker/frames/photo_folder.h"
#include "tracker/frames/stream_source.h"
#include "tracker/frames/video_source.h"

namespace nightswing::tracker {

bool is_stream(const std::string& name) {
  std::error_code none;  // an address may be longer than any path
  return name.find("://") != std::string::npos && !std::filesystem::exists(name, none);
}

std::unique_ptr<FrameSource> open_source(const std::string& name, const SourceOptions& options) {
  if (is_stream(name)) return std::make_unique<StreamSource>(name, options);
  if (std::filesystem::is_directory(name)) return std::make_unique<PhotoFolder>(name, options);
  return std::make_unique<VideoSource>(name, options);
}

}  // namespace nightswing::tracker
