#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <string_view>

namespace nightswing::tracker {

/// A text file that only grows, one whole line at a time. A line is in the hands of the operating
/// system when `append` returns; a killed program loses none, a power cut at most what the system
/// had not written yet.
class LineFile {
 public:
  /// Opens for appending and creates the file with its header line if it is new or empty.
  /// A last line without its line break (power cut) is cut off first and handed to `on_torn`.
  /// throws InputError if the file cannot be opened or another header stands in it.
  LineFile(std::filesystem::path path,
           std::string_view header,
           const std::function<void(const std::string& torn)>& on_torn = {});
  ~LineFile();
  LineFile(const LineFile&) = delete;
  LineFile& operator=(const LineFile&) = delete;

  /// Writes the line and its line break in one call. throws InputError if the disk takes no more.
  void append(std::string_view line);

 private:
  std::filesystem::path path_;
  int descriptor_ = -1;
};

/// Calls `use(number, line)` for each whole line after the header, number = line number in the
/// file. A last line without line break is reported to `on_torn` instead. throws InputError if the
/// file cannot be read or the header is another one.
void read_lines(const std::filesystem::path& path,
                std::string_view header,
                const std::function<void(std::size_t number, const std::string& line)>& use,
                const std::function<void(const std::string& torn)>& on_torn = {});

/// Replaces the whole file: written under another name beside it, flushed to the disk, renamed.
/// throws InputError if that fails; the old file then still stands.
void write_whole_file(const std::filesystem::path& path, std::string_view text);

/// The whole file. throws InputError if it cannot be read.
[[nodiscard]] std::string read_whole_file(const std::filesystem::path& path);

}  // namespace nightswing::tracker
