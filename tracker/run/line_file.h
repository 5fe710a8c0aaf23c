#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <fmt/format.h>

namespace nightswing::tracker {

/// What becomes of the lines that a file holds already when it is opened for appending.
enum class StandingLines {
  kKept,      ///< what is appended comes after them
  kRepeated,  ///< the same lines are appended again, from the first one; the file must not differ
  kMixed,     ///< the same, but lines that others wrote may stand between them
};

/// A text file that only grows, one whole line at a time. A line is in the hands of the operating
/// system when `append` returns; a killed program loses none, a power cut at most what the system
/// had not written yet.
class LineFile {
 public:
  /// Opens for appending and creates the file with its header line if it is new or empty.
  /// A last line without its line break (power cut) is cut off first.
  /// throws InputError if the file cannot be opened or another header stands in it.
  LineFile(std::filesystem::path path,
           std::string_view header,
           StandingLines standing = StandingLines::kKept);
  ~LineFile();
  LineFile(const LineFile&) = delete;
  LineFile& operator=(const LineFile&) = delete;

  /// Writes the line and its line break in one call; a line that is repeated is not written again.
  /// throws InputError if the disk takes no more, or (kRepeated) if the file holds another line.
  void append(std::string_view line);

  /// Whether lines stand in the file that have not been repeated yet; kKept: false.
  [[nodiscard]] bool is_repeating() const { return repeated_end_ < standing_end_; }

  /// Sets room on the disk aside for so many bytes more, so that other files cannot take it; it is
  /// given back when this ends. False where the file system knows no such thing.
  /// throws InputError if there is not so much room.
  [[nodiscard]] bool reserve(std::int64_t bytes);

  /// Waits until what was appended is on the disk, so that a power cut cannot take it.
  /// throws InputError if the disk refuses; then nothing is known of the last lines, and trying
  /// again would not help (Linux forgets the pages that it could not write).
  void sync();

  /// The unfinished last line that was cut off; empty if there was none.
  [[nodiscard]] const std::string& torn_line() const { return torn_line_; }

 private:
  /// Header and what stands in the file that was opened.
  void begin(std::string_view header);
  [[nodiscard]] bool stands_already(std::string_view line);

  std::filesystem::path path_;
  StandingLines standing_;
  std::string torn_line_;
  bool has_reserve_ = false;
  int descriptor_ = -1;
  std::ifstream earlier_;  // what stood in the file when it was opened
  std::streamoff repeated_end_ = 0;
  std::streamoff standing_end_ = 0;
};

/// Calls `use(line)` for each whole line after the header, as spreadsheets may have ended them; it
/// says in a phrase why the line cannot be used, or nothing. Returns a sentence for each line that
/// was passed over for that, the first ten by their number in the file and then how many more, and
/// for a last line without line break. throws InputError if the file cannot be read or the header
/// is another one.
[[nodiscard]] std::vector<std::string> read_lines(
    const std::filesystem::path& path,
    std::string_view header,
    const std::function<std::string(const std::string& line)>& use);

/// The same of lines that are in the order of their time, whose rows are appended to `rows`; one
/// that is not later than the row before is passed over.
///   row_from  the row of a line, or nothing and a phrase in `fault`
template <typename Row>
[[nodiscard]] std::vector<std::string> read_timed_rows(
    const std::filesystem::path& path,
    std::string_view header,
    std::optional<Row> (*row_from)(const std::string& line, std::string& fault),
    std::vector<Row>& rows) {
  return read_lines(path, header, [&](const std::string& line) {
    std::string fault;
    const std::optional<Row> row = row_from(line, fault);
    if (!row) return fault;
    if (!rows.empty() && row->t_s <= rows.back().t_s) {
      return fmt::format("time does not grow ({} s after {} s)", row->t_s, rows.back().t_s);
    }
    rows.push_back(*row);
    return std::string();
  });
}

/// Replaces the whole file: written under another name beside it, flushed to the disk, renamed.
///   readers  of the new file, from its first moment on
/// throws InputError if that fails; the old file then still stands.
enum class Readers { kEverybody, kOwner };
void write_whole_file(const std::filesystem::path& path,
                      std::string_view text,
                      Readers readers = Readers::kEverybody);

/// Makes the folder and those above it where they are missing. throws InputError if it cannot.
void make_folder(const std::filesystem::path& path);

/// The whole file. throws InputError if it cannot be read.
[[nodiscard]] std::string read_whole_file(const std::filesystem::path& path);

}  // namespace nightswing::tracker
