#pragma once

#include <filesystem>
#include <string>

namespace nightswing::test {

/// A new empty folder, removed with all that is in it at the end of the test.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  [[nodiscard]] std::filesystem::path operator/(const std::string& name) const {
    return path_ / name;
  }

 private:
  std::filesystem::path path_;
};

/// Writes a small text file.
void write_text(const std::filesystem::path& path, const std::string& text);

/// What stands in a file; nothing if there is none.
[[nodiscard]] std::string text_of(const std::filesystem::path& file);

}  // namespace nightswing::test
