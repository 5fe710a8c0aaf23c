#pragma once

#include <string>
#include <string_view>

namespace nightswing::test {

/// A connection to a port of this computer on which anything can be said, also what no browser
/// would.
class RawConnection {
 public:
  explicit RawConnection(int port);
  ~RawConnection();
  RawConnection(RawConnection&& other) noexcept;
  RawConnection& operator=(RawConnection&&) = delete;

  /// False if the other side takes no more.
  bool send(std::string_view bytes);
  /// Everything until the other side closes.
  [[nodiscard]] std::string read_all();

 private:
  int socket_ = -1;
};

/// What a server says to these bytes, until it closes.
[[nodiscard]] std::string said_to(int port, std::string_view request);

/// Of a response: `HTTP/1.1 404 ...` is 404; 0 if it is none.
[[nodiscard]] int status_of(std::string_view response);
/// What comes after the empty line.
[[nodiscard]] std::string body_of(std::string_view response);

}  // namespace nightswing::test
