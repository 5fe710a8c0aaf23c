#include "tracker/frames/photo_files.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cstdint>
#include <fstream>
#include <memory>

#include <fmt/format.h>
#include <libexif/exif-data.h>
#include <libexif/exif-loader.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

struct FreeExif {
  void operator()(ExifData* data) const { exif_data_unref(data); }
};
using Exif = std::unique_ptr<ExifData, FreeExif>;

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

char lower(char c) {
  return static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
}

std::string lower(std::string text) {
  std::ranges::transform(text, text.begin(), [](char c) { return lower(c); });
  return text;
}

/// The text of a tag without the blanks that fill it up; empty if it is not there.
std::string text_of(const ExifData& exif, ExifTag tag) {
  const ExifEntry* entry = exif_content_get_entry(exif.ifd[EXIF_IFD_EXIF], tag);
  if (entry == nullptr || entry->data == nullptr || entry->format != EXIF_FORMAT_ASCII) return {};
  std::string text(reinterpret_cast<const char*>(entry->data), entry->size);
  text.erase(std::min(text.find('\0'), text.size()));
  text.erase(std::min(text.find_last_not_of(' ') + 1, text.size()));
  return text;
}

/// `2026:03:14 21:30:00`, fraction digits `057`, offset `+01:00`.
void read_camera_time(const ExifData& exif, PhotoStamp& photo) {
  std::string text = text_of(exif, EXIF_TAG_DATE_TIME_ORIGINAL);
  if (text.size() != 19) return;
  text[4] = text[7] = '-';
  const std::string fraction = text_of(exif, EXIF_TAG_SUB_SEC_TIME_ORIGINAL);
  if (!fraction.empty() && std::ranges::all_of(fraction, is_digit)) {
    text += '.' + fraction.substr(0, 6);
    photo.has_subseconds = true;
  }
  const std::string offset = text_of(exif, EXIF_TAG_OFFSET_TIME_ORIGINAL);
  photo.camera = parse_iso_time(text + offset);
  photo.has_offset = photo.camera.has_value() && !offset.empty();
  // An offset that cannot be read is none.
  if (!photo.camera) photo.camera = parse_iso_time(text);
}

int turn_of(const ExifData& exif) {
  const ExifEntry* entry = exif_content_get_entry(exif.ifd[EXIF_IFD_0], EXIF_TAG_ORIENTATION);
  if (entry == nullptr || entry->format != EXIF_FORMAT_SHORT || entry->size < 2) return 0;
  switch (exif_get_short(entry->data, exif_data_get_byte_order(entry->parent->parent))) {
    case 3:
      return 180;
    case 6:
      return 90;
    case 8:
      return 270;
    default:
      return 0;
  }
}

std::uint32_t four_bytes(const std::array<char, 8>& head) {
  std::uint32_t value = 0;
  for (std::size_t k = 0; k < 4; ++k) value = value << 8 | static_cast<std::uint8_t>(head[k]);
  return value;
}

/// What the chunk eXIf of a PNG file holds, with the mark before it that libexif wants; empty if
/// there is none (W3C, Portable Network Graphics, third edition, 5.3 and 11.3.4.5: chunks of
/// length, type, data and check sum follow a signature of 8 bytes).
std::string exif_block_of_png(const std::filesystem::path& path) {
  constexpr std::uint32_t kMostBytes = 1 << 24;  // a damaged length shall not take all memory
  constexpr std::streamoff kCheckSum = 4;
  std::ifstream file(path, std::ios::binary);
  std::array<char, 8> head{};
  file.read(head.data(), std::ssize(head));
  while (file.read(head.data(), std::ssize(head))) {
    const std::uint32_t length = four_bytes(head);
    if (std::string_view(head.data() + 4, 4) != "eXIf") {
      file.seekg(std::streamoff{length} + kCheckSum, std::ios::cur);
      continue;
    }
    if (length > kMostBytes) return {};
    std::string block("Exif\0\0", 6);
    block.resize(6 + length);
    return file.read(block.data() + 6, length) ? block : std::string();
  }
  return {};
}

ExifData* exif_of(const std::filesystem::path& path) {
  if (lower(path.extension().string()) != ".png") return exif_data_new_from_file(path.c_str());
  const std::string block = exif_block_of_png(path);
  if (block.empty()) return nullptr;
  return exif_data_new_from_data(reinterpret_cast<const unsigned char*>(block.data()),
                                 static_cast<unsigned int>(block.size()));
}

void read_exif(const std::filesystem::path& path, PhotoStamp& photo) {
  const Exif exif(exif_of(path));
  if (!exif) return;
  read_camera_time(*exif, photo);
  photo.turn_deg = turn_of(*exif);
}

PhotoStamp stamp_of(const std::filesystem::path& path) {
  PhotoStamp photo{.name = path.filename().string()};
  const std::string stem = path.stem().string();
  std::size_t end = stem.size();
  while (end > 0 && !is_digit(stem[end - 1])) --end;
  std::size_t begin = end;
  while (begin > 0 && is_digit(stem[begin - 1])) --begin;
  photo.series = stem.substr(0, begin) + '#' + stem.substr(end);
  long number = 0;
  const auto read = std::from_chars(stem.data() + begin, stem.data() + end, number);
  if (end > begin && read.ec == std::errc()) photo.number = number;
  std::error_code none;
  const auto written = std::filesystem::last_write_time(path, none);
  if (!none) {
    photo.file = std::chrono::floor<UtcTime::duration>(std::chrono::file_clock::to_sys(written));
  }
  read_exif(path, photo);
  return photo;
}

/// The place where the numbers ran over, so that the photographs from there on come first.
std::ptrdiff_t first_taken(const std::vector<PhotoStamp>& photos) {
  const auto nines = [](long number) { return number == 9999 || number == 99999; };
  const PhotoStamp& last = photos.back();
  if (!last.number || !nines(*last.number) || !last.camera) return 0;
  std::ptrdiff_t first = 0;
  for (std::size_t k = 1; k < photos.size(); ++k) {
    if (!photos[k].camera || !photos[k - 1].camera) return 0;
    if (*photos[k].camera >= *photos[k - 1].camera) continue;
    if (first != 0) return 0;  // a clock that was set back is not told from a number that ran over
    first = static_cast<std::ptrdiff_t>(k);
  }
  return *last.camera <= *photos.front().camera ? first : 0;
}

}  // namespace

bool comes_before(std::string_view a, std::string_view b) {
  std::size_t i = 0;
  std::size_t k = 0;
  const auto run_end = [](std::string_view text, std::size_t from) {
    while (from < text.size() && is_digit(text[from])) ++from;
    return from;
  };
  while (i < a.size() && k < b.size()) {
    if (is_digit(a[i]) && is_digit(b[k])) {
      while (i < a.size() && a[i] == '0') ++i;
      while (k < b.size() && b[k] == '0') ++k;
      const std::string_view left = a.substr(i, run_end(a, i) - i);
      const std::string_view right = b.substr(k, run_end(b, k) - k);
      if (left.size() != right.size()) return left.size() < right.size();
      if (left != right) return left < right;
      i += left.size();
      k += right.size();
    } else {
      if (lower(a[i]) != lower(b[k])) return lower(a[i]) < lower(b[k]);
      ++i;
      ++k;
    }
  }
  if ((i < a.size()) != (k < b.size())) return k < b.size();
  return a < b;
}

std::vector<PhotoStamp> list_photos(const std::filesystem::path& folder) {
  constexpr std::array kEndings{".jpg", ".jpeg", ".png"};
  std::vector<PhotoStamp> photos;
  bool heif = false;
  std::error_code failed;
  for (const auto& entry : std::filesystem::directory_iterator(folder, failed)) {
    const std::string ending = lower(entry.path().extension().string());
    heif = heif || ending == ".heic" || ending == ".heif";
    if (std::ranges::find(kEndings, ending) == kEndings.end() || !entry.is_regular_file()) continue;
    photos.push_back(stamp_of(entry.path()));
  }
  if (failed) {
    throw InputError(fmt::format("cannot read {}: {}", folder.string(), failed.message()));
  }
  if (photos.empty()) {
    throw InputError(fmt::format("{} holds no photographs (.jpg, .jpeg or .png){}",
                                 folder.string(),
                                 heif ? "; convert the HEIC files with heif-convert" : ""));
  }
  std::ranges::sort(photos,
                    [](const auto& a, const auto& b) { return comes_before(a.name, b.name); });
  std::rotate(photos.begin(), photos.begin() + first_taken(photos), photos.end());
  return photos;
}

}  // namespace nightswing::tracker
