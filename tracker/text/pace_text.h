#pragma once

#include <optional>
#include <string>

namespace nightswing::tracker {

/// How frames map to time, as run.yaml says it in words (`time_from`), and what of these words the
/// commands that repeat a pass have to know again.

/// Of a time-lapse of which a frame was taken every so many seconds.
[[nodiscard]] std::string time_from_steps(double frame_every_s);

/// The step that time_from_steps wrote; nothing if the times are from elsewhere.
[[nodiscard]] std::optional<double> frame_every_s(const std::string& time_from);

/// Of a time-lapse whose frames were spread evenly over so much time.
[[nodiscard]] std::string time_from_whole(long pictures, double whole_s);

/// The time that time_from_whole wrote; nothing if the times are from elsewhere.
[[nodiscard]] std::optional<double> whole_s(const std::string& time_from);

/// What stands behind either if each line of the track is the mean over such a window.
[[nodiscard]] std::string averages_text(double window_s);

/// The window that averages_text wrote; nothing if each frame has its line.
[[nodiscard]] std::optional<double> average_s(const std::string& time_from);

}  // namespace nightswing::tracker
