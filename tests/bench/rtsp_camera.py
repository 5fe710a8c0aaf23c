#!/usr/bin/env python3
"""Serves a film as a network camera does over RTSP, H.264 in real time, for a trial by hand:
rtsp_camera.py PORT FILM.mp4, then `nightswing watch --camera rtsp://127.0.0.1:PORT/cam ...`.

Needs Debian's gir1.2-gst-rtsp-server-1.0, gstreamer1.0-plugins-good, gstreamer1.0-plugins-ugly,
gstreamer1.0-libav and python3-gi, which no test needs."""
import sys

import gi

gi.require_version("Gst", "1.0")
gi.require_version("GstRtspServer", "1.0")
from gi.repository import GLib, Gst, GstRtspServer  # noqa: E402

ENCODING = ("x264enc tune=zerolatency speed-preset=ultrafast bitrate=4000 key-int-max=10"
            " ! rtph264pay name=pay0 pt=96")


def main(port, film):
    Gst.init(None)
    camera = GstRtspServer.RTSPMediaFactory()
    camera.set_shared(True)
    camera.set_launch(f"( filesrc location={film} ! qtdemux ! h264parse ! avdec_h264"
                      f" ! videoconvert ! {ENCODING} )")
    server = GstRtspServer.RTSPServer()
    server.set_address("127.0.0.1")
    server.set_service(port)
    server.get_mount_points().add_factory("/cam", camera)
    server.attach(None)
    print(f"rtsp://127.0.0.1:{port}/cam", flush=True)
    GLib.MainLoop().run()


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
