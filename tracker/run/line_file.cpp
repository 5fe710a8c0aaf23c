#include "tracker/run/line_file.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <fstream>
#include <sstream>
#include <thread>
#include <utility>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

constexpr std::int64_t kMostReserve = 1'000'000'000;
constexpr std::string_view kByteOrderMark = "\xef\xbb\xbf";
constexpr std::size_t kMostNamed = 10;  // a file of rubbish must not make a page of warnings

InputError cannot(std::string_view what, const std::filesystem::path& path) {
  return InputError(fmt::format("cannot {} {}: {}", what, path.string(), std::strerror(errno)));
}

void write_all(int descriptor, std::string_view text, const std::filesystem::path& path) {
  while (!text.empty()) {
    const ssize_t written = ::write(descriptor, text.data(), text.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) throw cannot("write to", path);
    text.remove_prefix(static_cast<std::size_t>(written));
  }
}

/// A new name is on the disk only when its folder is.
void sync_folder(const std::filesystem::path& path) {
  const std::filesystem::path folder = path.has_parent_path() ? path.parent_path() : ".";
  const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (descriptor < 0) return;
  ::fsync(descriptor);  // some file systems cannot, and need not
  ::close(descriptor);
}

void check_header(const std::filesystem::path& path,
                  std::string_view found,
                  std::string_view header) {
  if (found == header) return;
  std::string with_semicolons(header);
  std::ranges::replace(with_semicolons, ',', ';');
  if (found == with_semicolons) {
    throw InputError(fmt::format(
        "{}:1: the fields stand between semicolons, as some spreadsheets save them; save the file "
        "with commas (and decimal points)",
        path.string()));
  }
  throw InputError(
      fmt::format("{}:1: the header line is not '{}'; the file belongs to another program or "
                  "version, use another run folder",
                  path.string(),
                  header));
}

/// The next line, without what spreadsheets add: a carriage return at its end, and at the beginning
/// of the file a byte order mark. False at the end of the file.
bool next_line(std::istream& file, std::string& line) {
  if (!std::getline(file, line)) return false;
  if (line.ends_with('\r')) line.pop_back();
  if (line.starts_with(kByteOrderMark)) line.erase(0, kByteOrderMark.size());
  return true;
}

/// While it lives no other LineFile, in whichever process, cuts the file or appends to it: what
/// looks like an unfinished line may be one that is just being written. It is waited for a second
/// at most, and nothing where the file system knows no locks: a night does not stop for it.
class Turn {
 public:
  explicit Turn(int descriptor) : descriptor_(descriptor) {
    constexpr std::chrono::milliseconds kLook{10};
    const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(1);
    while (!(is_held_ = ::flock(descriptor_, LOCK_EX | LOCK_NB) == 0) &&
           (errno == EWOULDBLOCK || errno == EINTR) && std::chrono::steady_clock::now() < until) {
      std::this_thread::sleep_for(kLook);
    }
    is_refused_ = !is_held_ && errno == EWOULDBLOCK;
  }
  ~Turn() {
    if (is_held_) ::flock(descriptor_, LOCK_UN);
  }
  /// Another has held it all the time.
  [[nodiscard]] bool is_refused() const { return is_refused_; }
  Turn(const Turn&) = delete;
  Turn& operator=(const Turn&) = delete;

 private:
  int descriptor_;
  bool is_held_ = false;
  bool is_refused_ = false;
};

/// Cuts an unfinished last line off and returns it.
std::string cut_torn_line(const std::filesystem::path& path, int descriptor) {
  const std::string text = read_whole_file(path);
  if (text.empty() || text.back() == '\n') return {};
  const std::size_t end = text.rfind('\n') + 1;  // npos + 1 = 0: not even one whole line
  if (::ftruncate(descriptor, static_cast<off_t>(end)) != 0) throw cannot("write to", path);
  return text.substr(end);
}

}  // namespace

LineFile::LineFile(std::filesystem::path path, std::string_view header, StandingLines standing)
    : path_(std::move(path)), standing_(standing) {
  descriptor_ = ::open(path_.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  if (descriptor_ < 0) throw cannot("open", path_);
  try {
    const Turn turn(descriptor_);
    if (!turn.is_refused()) torn_line_ = cut_torn_line(path_, descriptor_);
    begin(header);
  } catch (...) {
    ::close(descriptor_);
    throw;
  }
}

void LineFile::begin(std::string_view header) {
  earlier_.open(path_, std::ios::binary);
  std::string first;
  if (!next_line(earlier_, first)) {
    write_all(descriptor_, std::string(header) + '\n', path_);
    sync_folder(path_);
    return;
  }
  check_header(path_, first, header);
  if (standing_ == StandingLines::kKept) return;
  repeated_end_ = earlier_.tellg();
  standing_end_ = static_cast<std::streamoff>(std::filesystem::file_size(path_));
}

LineFile::~LineFile() {
  if (has_reserve_) {
    // Blocks beyond the end; that they could not be given back would do no harm.
    const off_t end = ::lseek(descriptor_, 0, SEEK_END);
    ::fallocate(descriptor_, FALLOC_FL_PUNCH_HOLE | FALLOC_FL_KEEP_SIZE, end, kMostReserve);
  }
  if (descriptor_ >= 0) ::close(descriptor_);
}

void LineFile::append(std::string_view line) {
  if (is_repeating() && stands_already(line)) return;
  const Turn turn(descriptor_);
  const off_t end = ::lseek(descriptor_, 0, SEEK_END);
  try {
    write_all(descriptor_, std::string(line) + '\n', path_);
  } catch (const InputError&) {
    // A part of a line would spoil the next one. If it cannot be cut off now, it is when the file
    // is opened again.
    const int cut = ::ftruncate(descriptor_, end);
    static_cast<void>(cut);
    throw;
  }
}

bool LineFile::reserve(std::int64_t bytes) {
  const off_t end = ::lseek(descriptor_, 0, SEEK_END);
  if (::fallocate(descriptor_, FALLOC_FL_KEEP_SIZE, end, std::min(bytes, kMostReserve)) == 0) {
    has_reserve_ = true;
  } else if (errno == ENOSPC || errno == EDQUOT || errno == EFBIG) {
    throw cannot("set room aside for", path_);
  }
  return has_reserve_;
}

void LineFile::sync() {
  if (::fdatasync(descriptor_) != 0 && errno != EINVAL && errno != EROFS) {
    throw cannot("bring to the disk", path_);
  }
}

bool LineFile::stands_already(std::string_view line) {
  earlier_.clear();
  earlier_.seekg(repeated_end_);
  std::string found;
  while (earlier_.tellg() < standing_end_ && next_line(earlier_, found)) {
    if (found == line) {
      repeated_end_ = earlier_.tellg();
      return true;
    }
    if (standing_ == StandingLines::kRepeated) {
      throw InputError(fmt::format(
          "{} cannot be gone on with: it holds the line '{}' where '{}' belongs; was it "
          "another film, another version of the program, or edited? Track into a new "
          "folder",
          path_.string(),
          found,
          line));
    }
  }
  return false;
}

std::vector<std::string> read_lines(const std::filesystem::path& path,
                                    std::string_view header,
                                    const std::function<std::string(const std::string&)>& use) {
  std::ifstream file(path);
  if (!file) throw cannot("read", path);
  std::string line;
  if (!next_line(file, line)) line.clear();
  check_header(path, line, header);
  std::vector<std::string> warnings;
  long unnamed = 0;
  bool torn = false;
  for (std::size_t number = 2; next_line(file, line); ++number) {
    torn = file.eof();
    if (torn) break;
    const std::string fault = use(line);
    if (fault.empty()) continue;
    if (warnings.size() < kMostNamed) {
      warnings.push_back(fmt::format("{}:{}: line passed over: {}", path.string(), number, fault));
    } else {
      ++unnamed;
    }
  }
  if (unnamed > 0) {
    warnings.push_back(fmt::format("{}: {} more lines passed over", path.string(), unnamed));
  }
  if (torn) {
    warnings.push_back(fmt::format("{}: the last line is torn and was passed over", path.string()));
  }
  return warnings;
}

void write_whole_file(const std::filesystem::path& path, std::string_view text, Readers readers) {
  const std::filesystem::path beside = path.string() + ".new";
  const mode_t mode = readers == Readers::kOwner ? 0600 : 0644;
  if (readers == Readers::kOwner) ::unlink(beside.c_str());  // a left one may have other readers
  const int descriptor = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, mode);
  if (descriptor < 0) throw cannot("write", path);
  try {
    write_all(descriptor, text, path);
    if (::fsync(descriptor) != 0) throw cannot("write", path);
  } catch (...) {
    ::close(descriptor);
    throw;
  }
  ::close(descriptor);
  std::error_code failed;
  std::filesystem::rename(beside, path, failed);
  if (failed) {
    throw InputError(fmt::format("cannot write {}: {}", path.string(), failed.message()));
  }
  sync_folder(path);
}

void make_folder(const std::filesystem::path& path) {
  std::error_code failed;
  std::filesystem::create_directories(path, failed);
  if (failed) {
    throw InputError(fmt::format("cannot make the folder {}: {}", path.string(), failed.message()));
  }
}

std::string read_whole_file(const std::filesystem::path& path) {
  std::error_code none;
  std::ifstream file(path, std::ios::binary);
  if (!file) throw cannot("read", path);
  if (std::filesystem::is_directory(path, none)) {  // which opens, but holds nothing to read
    errno = EISDIR;
    throw cannot("read", path);
  }
  std::ostringstream text;
  text << file.rdbuf();
  if (text.bad()) throw cannot("read", path);
  return text.str();
}

}  // namespace nightswing::tracker
