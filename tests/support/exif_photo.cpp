#include "tests/support/exif_photo.h"

#include <cstdint>
#include <stdexcept>
#include <utility>
#include <vector>

#include <opencv2/imgcodecs.hpp>

#include "tests/support/temporary_folder.h"

namespace nightswing::test {
namespace {

// Tag numbers and types of CIPA DC-008-2019, tables 4 to 8.
constexpr std::uint16_t kOrientation = 0x0112;
constexpr std::uint16_t kExifPointer = 0x8769;
constexpr std::uint16_t kDateTimeOriginal = 0x9003;
constexpr std::uint16_t kOffsetTimeOriginal = 0x9011;
constexpr std::uint16_t kSubSecTimeOriginal = 0x9291;
constexpr std::uint16_t kAscii = 2;
constexpr std::uint16_t kShort = 3;
constexpr std::uint16_t kLong = 4;

/// Bytes in big-endian order ("MM").
class Bytes {
 public:
  void two(std::uint32_t value) {
    text_ += static_cast<char>((value >> 8) & 0xFF);
    text_ += static_cast<char>(value & 0xFF);
  }
  void four(std::uint32_t value) {
    two(value >> 16);
    two(value & 0xFFFF);
  }
  void add(const std::string& bytes) { text_ += bytes; }
  [[nodiscard]] const std::string& text() const { return text_; }
  [[nodiscard]] std::uint32_t size() const { return static_cast<std::uint32_t>(text_.size()); }

 private:
  std::string text_;
};

std::string exif_block(const ExifTruth& exif) {
  Bytes tiff;
  tiff.add("MM");
  tiff.two(42);
  tiff.four(8);  // IFD0 follows
  tiff.two(exif.orientation != 0 ? 2 : 1);
  if (exif.orientation != 0) {
    tiff.two(kOrientation);
    tiff.two(kShort);
    tiff.four(1);
    tiff.two(static_cast<std::uint32_t>(exif.orientation));
    tiff.two(0);
  }
  tiff.two(kExifPointer);
  tiff.two(kLong);
  tiff.four(1);
  tiff.four(tiff.size() + 8);  // behind this value and the end mark
  tiff.four(0);                // no further IFD

  std::vector<std::pair<std::uint16_t, std::string>> texts;
  for (const auto& [tag, text] : {std::pair{kDateTimeOriginal, exif.date_time_original},
                                  std::pair{kOffsetTimeOriginal, exif.offset_time_original},
                                  std::pair{kSubSecTimeOriginal, exif.sub_sec_time_original}}) {
    if (!text.empty()) texts.emplace_back(tag, text + '\0');
  }
  const auto entries = static_cast<std::uint32_t>(texts.size());
  Bytes values;
  const std::uint32_t values_at = tiff.size() + 2 + 12 * entries + 4;
  tiff.two(entries);
  for (const auto& [tag, text] : texts) {
    tiff.two(tag);
    tiff.two(kAscii);
    tiff.four(static_cast<std::uint32_t>(text.size()));
    if (text.size() <= 4) {
      tiff.add(text + std::string(4 - text.size(), '\0'));
    } else {
      tiff.four(values_at + values.size());
      values.add(text);
    }
  }
  tiff.four(0);
  return tiff.text() + values.text();
}

/// The CRC of a PNG chunk's type and data (W3C, Portable Network Graphics, third edition, 5.5).
std::uint32_t check_sum(const std::string& bytes) {
  std::uint32_t rest = 0xFFFFFFFF;
  for (const char byte : bytes) {
    rest ^= static_cast<std::uint8_t>(byte);
    for (int bit = 0; bit < 8; ++bit) rest = (rest & 1) != 0 ? 0xEDB88320 ^ (rest >> 1) : rest >> 1;
  }
  return ~rest;
}

}  // namespace

void write_photo(const std::filesystem::path& path, const cv::Mat& picture, const ExifTruth& exif) {
  std::vector<std::uint8_t> jpeg;
  if (!cv::imencode(".jpg", picture, jpeg)) throw std::runtime_error("no JPEG");
  const std::string block = std::string("Exif\0\0", 6) + exif_block(exif);
  Bytes file;
  file.two(0xFFD8);
  file.two(0xFFE1);
  file.two(static_cast<std::uint32_t>(block.size()) + 2);
  file.add(block);
  file.add(std::string(jpeg.begin() + 2, jpeg.end()));
  write_text(path, file.text());
}

void write_png_photo(const std::filesystem::path& path,
                     const cv::Mat& picture,
                     const ExifTruth& exif) {
  constexpr std::ptrdiff_t kHead = 8 + 12 + 13;  // signature, chunk IHDR
  std::vector<std::uint8_t> png;
  if (!cv::imencode(".png", picture, png)) throw std::runtime_error("no PNG");
  const std::string data = "eXIf" + exif_block(exif);
  Bytes file;
  file.add(std::string(png.begin(), png.begin() + kHead));
  file.four(static_cast<std::uint32_t>(data.size()) - 4);
  file.add(data);
  file.four(check_sum(data));
  file.add(std::string(png.begin() + kHead, png.end()));
  write_text(path, file.text());
}

}  // namespace nightswing::test
