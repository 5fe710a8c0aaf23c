#include "tracker/camera/camera_list.h"

#include <linux/videodev2.h>

#include <algorithm>
#include <cctype>
#include <cerrno>
#include <cstring>
#include <optional>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"

namespace nightswing::tracker {
namespace {

namespace fs = std::filesystem;

bool is_number(const std::string& text) {
  return !text.empty() && text.size() < 5 &&
         std::ranges::all_of(text, [](unsigned char c) { return std::isdigit(c) != 0; });
}

/// The number of `videoN`.
std::optional<int> number_of(const std::string& file) {
  constexpr std::string_view kPrefix = "video";
  if (!file.starts_with(kPrefix) || !is_number(file.substr(kPrefix.size()))) return std::nullopt;
  return std::stoi(file.substr(kPrefix.size()));
}

std::string lower(std::string text) {
  std::ranges::transform(
      text, text.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

constexpr const char* kNoRight = "not to be opened by you; add yourself to the group 'video'";

/// The name of a device that gives pictures; kNoRight if it must not be asked.
std::optional<std::string> name_of(const std::string& path, const DeviceCalls& calls) {
  const int device = calls.open(path);
  if (device < 0 && errno == EACCES) return kNoRight;
  if (device < 0) return std::nullopt;
  std::optional<std::string> name;
  v4l2_capability about{};
  if (calls.ioctl(device, VIDIOC_QUERYCAP, &about) >= 0) {
    const auto can =
        (about.capabilities & V4L2_CAP_DEVICE_CAPS) != 0 ? about.device_caps : about.capabilities;
    if ((can & V4L2_CAP_VIDEO_CAPTURE) != 0 && (can & V4L2_CAP_STREAMING) != 0) {
      const auto* text = reinterpret_cast<const char*>(about.card);
      name = std::string(text, ::strnlen(text, sizeof(about.card)));
    }
  }
  calls.close(device);
  return name;
}

std::string lasting_name(const std::string& path, const fs::path& by_id) {
  std::error_code none;
  std::string found;
  for (const auto& entry : fs::directory_iterator(by_id, none)) {
    const bool same = fs::equivalent(entry.path(), path, none) && !none;
    if (same && (found.empty() || entry.path().string() < found)) found = entry.path().string();
  }
  return found;
}

InputError none_fits(const std::string& wanted, const std::vector<ListedCamera>& cameras) {
  std::string there;
  for (const ListedCamera& camera : cameras) {
    there += fmt::format("{}{} ({})", there.empty() ? "" : ", ", camera.path, camera.name);
  }
  return InputError(fmt::format("no camera '{}' at this computer; there {}",
                                wanted,
                                there.empty() ? "is none: plug one in, or give the address of a "
                                                "network camera (http://...)"
                                              : "are: " + there));
}

}  // namespace

std::vector<ListedCamera> list_cameras(const DeviceCalls& calls, const DeviceFolders& folders) {
  std::vector<std::pair<int, ListedCamera>> numbered;
  std::error_code none;
  for (const auto& entry : fs::directory_iterator(folders.devices, none)) {
    const auto number = number_of(entry.path().filename().string());
    if (!number) continue;
    const std::string path = entry.path().string();
    if (const auto name = name_of(path, calls)) {
      numbered.push_back({*number, {path, *name, lasting_name(path, folders.by_id)}});
    }
  }
  std::ranges::sort(numbered, {}, &std::pair<int, ListedCamera>::first);
  std::vector<ListedCamera> cameras;
  for (auto& [number, camera] : numbered) cameras.push_back(std::move(camera));
  return cameras;
}

ListedCamera find_camera(const std::string& wanted,
                         const DeviceCalls& calls,
                         const DeviceFolders& folders) {
  const std::string path =
      is_number(wanted) ? (folders.devices / ("video" + std::to_string(std::stoi(wanted)))).string()
                        : wanted;
  if (is_number(wanted) || wanted.find('/') != std::string::npos) {
    const auto name = name_of(path, calls);
    if (name == kNoRight) throw InputError(fmt::format("the camera {} is {}", path, kNoRight));
    if (name) return {path, *name, lasting_name(path, folders.by_id)};
    throw none_fits(wanted, list_cameras(calls, folders));
  }
  const auto cameras = list_cameras(calls, folders);
  std::vector<ListedCamera> fitting;
  for (const ListedCamera& camera : cameras) {
    if (lower(camera.name).find(lower(wanted)) != std::string::npos) fitting.push_back(camera);
  }
  if (fitting.size() == 1) return fitting.front();
  if (fitting.empty()) throw none_fits(wanted, cameras);
  throw InputError(fmt::format("'{}' fits {} cameras, such as {} and {}; give its path",
                               wanted,
                               fitting.size(),
                               fitting[0].lasting.empty() ? fitting[0].path : fitting[0].lasting,
                               fitting[1].lasting.empty() ? fitting[1].path : fitting[1].lasting));
}

}  // namespace nightswing::tracker
