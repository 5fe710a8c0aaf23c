#pragma once

#include <filesystem>
#include <string>

#include <opencv2/core.hpp>

namespace nightswing::test {

/// What a camera writes beside the picture; empty texts and 0 are left out.
struct ExifTruth {
  std::string date_time_original{};     ///< `2026:03:14 21:30:00`
  std::string sub_sec_time_original{};  ///< digits after the point
  std::string offset_time_original{};   ///< `+01:00`
  int orientation = 0;                  ///< 1 upright, 3, 6, 8
};

/// Writes a JPEG file with an EXIF block, laid out by hand after the standard (CIPA DC-008-2019,
/// 4.5 to 4.7: APP1 marker, TIFF header, IFD0 with orientation and pointer, Exif IFD).
void write_photo(const std::filesystem::path& path, const cv::Mat& picture, const ExifTruth& exif);

/// Writes a PNG file with the same EXIF block in a chunk eXIf behind the head.
void write_png_photo(const std::filesystem::path& path,
                     const cv::Mat& picture,
                     const ExifTruth& exif);

}  // namespace nightswing::test
