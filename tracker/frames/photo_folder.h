#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tracker/frames/frame_source.h"
#include "tracker/frames/photo_files.h"
#include "tracker/frames/photo_times.h"

namespace nightswing::tracker {

/// The photographs of a folder, one after the other. A file that cannot be read, breaks off or is
/// of another size than the first is left out and told in the next frame's `gap`.
class PhotoFolder : public FrameSource {
 public:
  /// throws InputError if the folder holds no photograph that can be read, or no time is to be had.
  explicit PhotoFolder(std::filesystem::path folder, const SourceOptions& options = {});

  [[nodiscard]] bool next(Frame& frame) override;
  [[nodiscard]] const SourceFacts& facts() const override { return facts_; }
  [[nodiscard]] std::optional<long> declared_frames() const override;
  [[nodiscard]] const std::vector<std::string>& warnings() const override {
    return times_.warnings;
  }

 private:
  /// The picture, or a phrase that says why it is left out.
  [[nodiscard]] std::string read(const PhotoStamp& photo, cv::Mat& picture) const;
  void note_turns();

  std::filesystem::path folder_;
  std::vector<PhotoStamp> photos_;
  PhotoTimes times_;
  SourceFacts facts_;
  std::size_t next_ = 0;
  double first_s_ = 0.0;
  long left_out_ = 0;
};

}  // namespace nightswing::tracker
