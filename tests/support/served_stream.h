#pragma once

#include <condition_variable>
#include <memory>
#include <mutex>
#include <string>
#include <thread>

#include <opencv2/core.hpp>

namespace httplib {
class Server;
}

namespace nightswing::test {

/// A network camera at this computer: serves what it is shown as motion JPEG over HTTP
/// (multipart/x-mixed-replace), to any number of visitors, with the faults of such cameras.
class ServedStream {
 public:
  /// Serves at a free port, or at one that was served before.
  explicit ServedStream(int port = 0);
  ~ServedStream();
  ServedStream(const ServedStream&) = delete;
  ServedStream& operator=(const ServedStream&) = delete;

  [[nodiscard]] std::string address() const;
  [[nodiscard]] int port() const { return port_; }

  /// The next picture for every visitor. Nobody waits for it.
  void show(const cv::Mat& picture);
  /// Bytes that are no picture, as if they were one.
  void show_bytes(const std::string& bytes);
  /// Closes all connections; with `refuse` new visitors get nothing until `accept`.
  void hang_up(bool refuse);
  void accept();
  /// Visitors that have come so far.
  [[nodiscard]] int visitors();

 private:
  void serve();

  std::unique_ptr<httplib::Server> server_;
  int port_ = 0;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::string picture_;
  long pictures_ = 0;
  int connection_age_ = 0;  // grows with each hanging up
  bool refuses_ = false;
  bool ends_ = false;
  int visitors_ = 0;
  std::thread thread_;
};

}  // namespace nightswing::test
