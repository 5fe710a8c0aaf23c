#pragma once

#include <cstddef>

#include "tracker/frames/film_picture.h"
#include "tracker/frames/libav_owners.h"
#include "tracker/frames/picture.h"

namespace nightswing::tracker {

/// Decodes the JPEG pictures of a camera, one after the other, with libav: it knows the cameras
/// that leave their Huffman tables out, and keeps silent. (libjpeg, which OpenCV uses, complains on
/// the terminal of every picture of the many cheap cameras that send a byte too much.)
class JpegDecoder {
 public:
  /// The picture in these bytes; empty if they are none, or damaged.
  [[nodiscard]] Picture decode(const void* bytes, std::size_t size);

 private:
  OwnedCodec codec_;
  OwnedPacket packet_ = new_packet();
  FilmPictures pictures_;
};

}  // namespace nightswing::tracker
