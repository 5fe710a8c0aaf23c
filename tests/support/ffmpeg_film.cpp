#include "tests/support/ffmpeg_film.h"

#include <stdexcept>

#include "tests/support/command.h"

namespace nightswing::test {

std::filesystem::path ffmpeg_film(const TemporaryFolder& folder,
                                  const std::string& name,
                                  const std::string& source,
                                  const std::string& encoding) {
  auto path = folder / name;
  const auto made = run_command("ffmpeg -v error -y -f lavfi -i '" + source + "' " + encoding +
                                " " + path.string());
  if (made.status != 0) throw std::runtime_error(made.errors);
  return path;
}

}  // namespace nightswing::test
