#include "tests/support/served_stream.h"

#include <algorithm>
#include <vector>

#include <doctest/doctest.h>
#include <httplib.h>
#include <opencv2/imgcodecs.hpp>

#include "tests/support/await.h"

namespace nightswing::test {

ServedStream::ServedStream(int port) : server_(std::make_unique<httplib::Server>()), port_(port) {
  server_->new_task_queue = [] { return new httplib::ThreadPool(16); };
  server_->set_socket_options([](socket_t socket) {
    const int yes = 1;
    ::setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof(yes));
  });
  server_->Get("/video", [this](const httplib::Request&, httplib::Response& response) {
    int age = 0;
    long sent = 0;
    {
      const std::lock_guard lock(mutex_);
      ++visitors_;
      if (refuses_) {
        response.status = 503;
        return;
      }
      age = connection_age_;
      sent = pictures_;
    }
    response.set_content_provider(
        "multipart/x-mixed-replace; boundary=frame",
        [this, age, sent](std::size_t, httplib::DataSink& sink) mutable {
          std::string part;
          {
            std::unique_lock lock(mutex_);
            changed_.wait(lock,
                          [&] { return ends_ || age != connection_age_ || pictures_ != sent; });
            if (ends_ || age != connection_age_) return false;
            sent = pictures_;
            part = "--frame\r\nContent-Type: image/jpeg\r\nContent-Length: " +
                   std::to_string(picture_.size()) + "\r\n\r\n" + picture_ + "\r\n";
          }
          return sink.write(part.data(), part.size());
        });
  });
  if (port_ == 0) {
    port_ = server_->bind_to_any_port("127.0.0.1");
  } else {
    REQUIRE(server_->bind_to_port("127.0.0.1", port_));
  }
  REQUIRE(port_ > 0);
  thread_ = std::thread([this] { server_->listen_after_bind(); });
  REQUIRE(await([this] { return server_->is_running(); }));
}

ServedStream::~ServedStream() {
  {
    const std::lock_guard lock(mutex_);
    ends_ = true;
  }
  changed_.notify_all();
  server_->stop();
  thread_.join();
}

std::string ServedStream::address() const {
  return "http://127.0.0.1:" + std::to_string(port_) + "/video";
}

void ServedStream::show(const cv::Mat& picture) {
  std::vector<unsigned char> jpeg;
  REQUIRE(cv::imencode(".jpg", picture, jpeg, {cv::IMWRITE_JPEG_QUALITY, 90}));
  show_bytes({jpeg.begin(), jpeg.end()});
}

void ServedStream::show_bytes(const std::string& bytes) {
  {
    const std::lock_guard lock(mutex_);
    picture_ = bytes;
    ++pictures_;
  }
  changed_.notify_all();
}

void ServedStream::hang_up(bool refuse) {
  {
    const std::lock_guard lock(mutex_);
    ++connection_age_;
    refuses_ = refuse;
  }
  changed_.notify_all();
}

void ServedStream::accept() {
  const std::lock_guard lock(mutex_);
  refuses_ = false;
}

int ServedStream::visitors() {
  const std::lock_guard lock(mutex_);
  return visitors_;
}

}  // namespace nightswing::test
