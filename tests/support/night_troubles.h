#pragma once

#include "tests/support/troubled_night.h"

/// The faults that a home can have, one by one.
namespace nightswing::test {

/// A second, fixed light on the spot's path: a window pane, the case.
Trouble reflection(double peak, double x_px, double sigma_px = 4.5);

/// A second, weaker image of the spot from the other side of the mirror's glass, which runs the
/// other way and crosses it.
Trouble moving_ghost(double share, double gain);

/// Lamp on from 400 to 800 and 1200 to 1300, then a slow dawn.
void lamp_and_dawn(int frame, ScenePicture& picture, std::mt19937_64&);

/// Sixty pixels that always shine, and ten others in every frame.
void hot_pixels(int, ScenePicture& picture, std::mt19937_64& random);

/// Every 300 frames somebody walks through: dark, 110 px wide, 25 frames from side to side.
void person(int frame, ScenePicture& picture, std::mt19937_64&);

/// Every 250 frames a torch plays on the wall for 40 frames: small, broad, and brighter.
void torch(int frame, ScenePicture& picture, std::mt19937_64&);

/// Every 150 frames the camera gives 8 black ones.
void black_frames(int frame, ScenePicture& picture, std::mt19937_64&);

/// The exposure hunts.
void exposure(int frame, ScenePicture& picture, std::mt19937_64&);

}  // namespace nightswing::test
