#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "tracker/frames/frame_source.h"
#include "tracker/frames/photo_files.h"

namespace nightswing::tracker {

/// When each photograph of a night was taken.
struct PhotoTimes {
  std::vector<double> t_s;        ///< since the first; grow
  std::vector<std::string> gaps;  ///< what is missing or amiss before each; mostly empty
  std::string time_from;
  std::optional<UtcTime> start;
  std::string start_from;
  std::vector<std::string> warnings;
};

/// Times from, in this order: the user's pace, the cameras' clock (EXIF), the files.
///
/// - A running number that is missing keeps its time free and is told.
/// - A step back of the clock cannot be: it was set back, and one usual step is taken to have
///   passed. So is a step forward that such a step back undoes later, and, where the clock has no
///   offset from UTC and no number is missing, one of an hour (summer time). Any other long step is
///   a pause of the camera. Each is told.
/// - Clocks that count whole seconds: where the photographs come so evenly that a line through
///   their numbers is never more than 0.75 s off, the line counts; else the middle of the second,
///   and photographs of one second are spread over it.
/// - UTC of the first one is known if its clock has an offset from UTC or the file's time is used.
///
/// throws InputError if there is no time to be had: the user must then say the pace.
[[nodiscard]] PhotoTimes time_photos(std::span<const PhotoStamp> photos,
                                     const SourceOptions& options);

}  // namespace nightswing::tracker
