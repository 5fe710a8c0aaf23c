#pragma once

#include <deque>
#include <filesystem>
#include <memory>
#include <optional>

#include "tracker/frames/film_picture.h"
#include "tracker/frames/libav_owners.h"
#include "tracker/frames/opened_film.h"
#include "tracker/frames/picture.h"

namespace nightswing::tracker {

/// A frame of a film.
struct DecodedFrame {
  Picture picture;                   ///< keeps the decoder's memory for as long as it lives
  std::optional<double> t_s;         ///< the file's timestamp; nothing if it gives none
  std::optional<double> duration_s;  ///< how long it is shown, if the file says so
};

/// Decodes the video of a film forwards, with libav. (OpenCV would do the same and then convert
/// every frame to BGR, which costs a quarter of the decoding; and loses the times of the last
/// frames of films with B-frames, OpenCV bug 22141.) Never seeks, turns nothing by rotation tags.
///
/// Of H.264 and HEVC several frames are decoded at once, each in a thread. How libav mends a
/// damaged one depends on how its threads race; so at the first damage the film is decoded once
/// more in one thread, which goes on behind the frames already given: these came before the damage.
/// Thus the frames do not depend on the number of threads. Other films are decoded in one thread,
/// unless their decoder has another way to use several.
class FilmDecoder {
 public:
  /// As many threads as there are processors, at most eight: each holds some frames.
  [[nodiscard]] static int usual_threads();

  /// throws InputError if the file is no video.
  explicit FilmDecoder(std::filesystem::path path, int threads = usual_threads());

  enum class Step {
    kFrame,
    kDamaged,  ///< something could not be read or decoded, there may be more
    kEnd
  };

  /// The next frame in order of showing. `frame` is left alone unless there is one.
  [[nodiscard]] Step next(DecodedFrame& frame);

  /// The file as it was opened, for what its head says; valid until the next frame is asked for.
  [[nodiscard]] const OpenedFilm& film() const { return film_; }

  [[nodiscard]] int width_px() const;
  [[nodiscard]] int height_px() const;
  /// What the file says; of a variable rate some mean. 25 if it says nothing.
  [[nodiscard]] double frames_per_second() const;
  /// Nothing if it cannot be told.
  [[nodiscard]] std::optional<long> declared_frames() const;

 private:
  /// Whether damage ends the decoding, or is mended as well as libav can.
  enum class How { kStrict, kMending };

  void open(int threads, How how);
  void fill_held();
  void start_again();
  [[nodiscard]] Step decode(DecodedFrame& frame);
  [[nodiscard]] bool send_packet();
  [[nodiscard]] bool take(std::shared_ptr<AVFrame> decoded, DecodedFrame& frame);

  std::filesystem::path path_;
  OpenedFilm film_;
  OwnedCodec codec_;
  OwnedPacket packet_;
  FilmPictures pictures_;
  bool is_strict_ = false;
  int read_faults_ = 0;  // in a row
  long given_ = 0;
  std::deque<DecodedFrame> held_;  // not given yet, because damage may come to light
};

}  // namespace nightswing::tracker
