#include "tracker/frames/film_picture.h"

#include <array>
#include <cstdint>
#include <utility>

extern "C" {
#include <libavutil/frame.h>
#include <libavutil/pixdesc.h>
#include <libswscale/swscale.h>
}

namespace nightswing::tracker {
namespace {

/// Luma and, if there are any, two coarser or equal planes, each value in bytes of its own.
bool has_planes(const AVFrame& frame, const AVPixFmtDescriptor& format) {
  constexpr std::uint64_t kOther = AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL |
                                   AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_HWACCEL |
                                   AV_PIX_FMT_FLAG_BAYER | AV_PIX_FMT_FLAG_FLOAT;
  if ((format.flags & kOther) != 0) return false;
  if (format.nb_components != 1 && format.nb_components != 3) return false;
  for (int k = 0; k < format.nb_components; ++k) {
    const AVComponentDescriptor& component = format.comp[k];
    const int bytes = component.depth > 8 ? 2 : 1;
    if (component.plane != k || component.step != bytes || component.offset != 0 ||
        component.shift != 0 || component.depth != format.comp[0].depth || component.depth < 8 ||
        frame.linesize[k] <= 0) {
      return false;
    }
  }
  return format.comp[0].depth == 8 || (format.flags & AV_PIX_FMT_FLAG_BE) == 0;
}

bool is_full_range(const AVFrame& frame) {
  switch (frame.format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
    case AV_PIX_FMT_YUVJ411P:
      return true;
    case AV_PIX_FMT_GRAY8:  // of pictures rather than television, unless it says so
      return frame.color_range != AVCOL_RANGE_MPEG;
    default:
      return frame.color_range == AVCOL_RANGE_JPEG;
  }
}

/// Rec. ITU-T H.273, table 4. A film that does not say has BT.601: programs that encode RGB write
/// that, and say nothing.
void set_shares(const AVFrame& frame, FilmPlanes& planes) {
  switch (frame.colorspace) {
    case AVCOL_SPC_BT709:
      planes.red_share = 0.2126;
      planes.blue_share = 0.0722;
      break;
    case AVCOL_SPC_BT2020_NCL:
    case AVCOL_SPC_BT2020_CL:
      planes.red_share = 0.2627;
      planes.blue_share = 0.0593;
      break;
    case AVCOL_SPC_SMPTE240M:
      planes.red_share = 0.212;
      planes.blue_share = 0.087;
      break;
    default:
      break;
  }
}

/// Rec. ITU-T H.273, figure 1. A film that does not say has the first value at the left, which is
/// what H.264 and HEVC mean by silence.
void set_siting(const AVFrame& frame, FilmPlanes& planes) {
  const double middle_x_px = 0.5 * (planes.columns_each - 1);
  const double middle_y_px = 0.5 * (planes.rows_each - 1);
  const double bottom_y_px = planes.rows_each - 1;
  const auto [x_px, y_px] = [&]() -> std::pair<double, double> {
    switch (frame.chroma_location) {
      case AVCHROMA_LOC_CENTER:
        return {middle_x_px, middle_y_px};
      case AVCHROMA_LOC_TOPLEFT:
        return {0.0, 0.0};
      case AVCHROMA_LOC_TOP:
        return {middle_x_px, 0.0};
      case AVCHROMA_LOC_BOTTOMLEFT:
        return {0.0, bottom_y_px};
      case AVCHROMA_LOC_BOTTOM:
        return {middle_x_px, bottom_y_px};
      default:
        return {0.0, middle_y_px};
    }
  }();
  planes.first_x_px = x_px;
  planes.first_y_px = y_px;
}

cv::Mat plane_of(const AVFrame& frame, int plane, cv::Size size, int depth, bool full_range) {
  auto* data = frame.data[plane];
  const auto step = static_cast<std::size_t>(frame.linesize[plane]);
  if (depth == 8) return {size, CV_8UC1, data, step};
  const double most = (1 << depth) - 1;
  const double gain = full_range ? kFullSteps / most : 1.0 / (1 << (depth - 8));
  cv::Mat rounded;
  cv::Mat(size, CV_16UC1, data, step).convertTo(rounded, CV_8U, gain);
  return rounded;
}

}  // namespace

Picture FilmPictures::picture_of(std::shared_ptr<const AVFrame> frame) {
  const auto* format = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(frame->format));
  if (format == nullptr) return {};
  if (!has_planes(*frame, *format)) return converted(*frame);
  FilmPlanes planes;
  planes.full_range = is_full_range(*frame);
  const int depth = format->comp[0].depth;
  const cv::Size size(frame->width, frame->height);
  planes.luma = plane_of(*frame, 0, size, depth, planes.full_range);
  if (format->nb_components == 3) {
    planes.columns_each = 1 << format->log2_chroma_w;
    planes.rows_each = 1 << format->log2_chroma_h;
    const cv::Size coarse(AV_CEIL_RSHIFT(size.width, format->log2_chroma_w),
                          AV_CEIL_RSHIFT(size.height, format->log2_chroma_h));
    planes.blue = plane_of(*frame, 1, coarse, depth, planes.full_range);
    planes.red = plane_of(*frame, 2, coarse, depth, planes.full_range);
    set_shares(*frame, planes);
    set_siting(*frame, planes);
  }
  planes.memory = std::move(frame);
  return Picture(std::move(planes));
}

Picture FilmPictures::converted(const AVFrame& frame) {
  converter_.reset(sws_getCachedContext(converter_.release(),
                                        frame.width,
                                        frame.height,
                                        static_cast<AVPixelFormat>(frame.format),
                                        frame.width,
                                        frame.height,
                                        AV_PIX_FMT_BGR24,
                                        SWS_BILINEAR | SWS_ACCURATE_RND | SWS_FULL_CHR_H_INT,
                                        nullptr,
                                        nullptr,
                                        nullptr));
  if (!converter_) return {};
  cv::Mat bgr(frame.height, frame.width, CV_8UC3);
  const std::array<std::uint8_t*, 1> to{bgr.data};
  const std::array<int, 1> to_step{static_cast<int>(bgr.step)};
  const int rows = sws_scale(
      converter_.get(), frame.data, frame.linesize, 0, frame.height, to.data(), to_step.data());
  if (rows != frame.height) return {};
  return {bgr};
}

void FilmPictures::FreeConverter::operator()(SwsContext* converter) const {
  sws_freeContext(converter);
}

}  // namespace nightswing::tracker
