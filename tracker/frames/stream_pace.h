#pragma once

#include <optional>

namespace nightswing::tracker {

/// Tells pictures of a stream that are as old as their arrival from those that waited on the way.
///
/// A network that stalls holds pictures back and then delivers them in a burst; opening a stream
/// also leaves some waiting. All of them would be taken for new ones, seconds wrong. So after a
/// pause much longer than usual pictures are passed over until one has kept its usual distance from
/// the one before. A sender that always sends in bursts gives one picture a burst, late by less
/// than the burst's length.
class StreamPace {
 public:
  /// The next arrival; whether that picture is a new one.
  [[nodiscard]] bool is_new(double arrival_s);

  /// Mean distance of the last pictures [s]; 0 before two of them.
  [[nodiscard]] double usual_s() const { return usual_s_; }

 private:
  void learn(double distance_s);

  std::optional<double> last_s_;
  double begin_s_ = 0.0;
  double usual_s_ = 0.0;
  double arrivals_ = 0.0;    // that the usual distance is the mean of
  bool is_opening_ = true;   // until the first that is new
  bool catching_up_ = true;  // as after a pause
  double since_s_ = 0.0;     // when that began
};

}  // namespace nightswing::tracker
