#pragma once

#include "tracker/report/shown_night.h"

namespace nightswing::test {

/// A night to be shown, by closed form: plus from 0 to 3600 s about 300 mm, minus to 7200 s about
/// 200 mm, a reading every 5 s, period 600 s, damping 2e-4 per s, amplitudes 40 and 60 mm at the
/// starts, drift 0.36 mm/h, residuals that alternate between +0.02 and -0.02 mm. Pixels lie on
/// (100 + 2.5 x_mm, 300 + 0.1 x_mm). G = 6.7(1)e-11 with two budget rows and two corrections.
[[nodiscard]] tracker::ShownNight shown_example();

}  // namespace nightswing::test
