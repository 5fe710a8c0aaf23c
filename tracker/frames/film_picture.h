#pragma once

#include <memory>

#include "tracker/frames/picture.h"

struct AVFrame;
struct SwsContext;

namespace nightswing::tracker {

/// Makes pictures of the frames that libav decodes. Planes of 8 bits, which nearly all films have,
/// are shared, not copied; deeper ones are rounded to 8 bits. What has no planes (packed or RGB
/// formats of lossless codecs) is converted to BGR.
class FilmPictures {
 public:
  /// The picture keeps the frame. Empty if libav cannot convert the format.
  [[nodiscard]] Picture picture_of(std::shared_ptr<const AVFrame> frame);

 private:
  struct FreeConverter {
    void operator()(SwsContext* converter) const;
  };

  [[nodiscard]] Picture converted(const AVFrame& frame);

  std::unique_ptr<SwsContext, FreeConverter> converter_;
};

}  // namespace nightswing::tracker
