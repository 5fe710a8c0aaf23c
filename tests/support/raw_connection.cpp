#include "tests/support/raw_connection.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <utility>

#include <doctest/doctest.h>

namespace nightswing::test {

RawConnection::RawConnection(int port) : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  REQUIRE(socket_ >= 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  const timeval patience{.tv_sec = 30, .tv_usec = 0};  // a server that says nothing fails the test
  ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof(patience));
  REQUIRE(::connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0);
}

RawConnection::~RawConnection() {
  if (socket_ >= 0) ::close(socket_);
}

RawConnection::RawConnection(RawConnection&& other) noexcept
    : socket_(std::exchange(other.socket_, -1)) {}

bool RawConnection::send(std::string_view bytes) {
  while (!bytes.empty()) {
    const auto count = ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (count <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return true;
}

std::string RawConnection::read_all() {
  std::string text;
  std::array<char, 4096> bytes{};
  while (true) {
    const auto count = ::recv(socket_, bytes.data(), bytes.size(), 0);
    if (count <= 0) return text;
    text.append(bytes.data(), static_cast<std::size_t>(count));
  }
}

std::string said_to(int port, std::string_view request) {
  RawConnection connection(port);
  connection.send(request);
  return connection.read_all();
}

int status_of(std::string_view response) {
  if (!response.starts_with("HTTP/1.1 ")) return 0;
  return std::atoi(std::string(response.substr(9, 3)).c_str());
}

std::string body_of(std::string_view response) {
  const auto end = response.find("\r\n\r\n");
  return end == std::string_view::npos ? std::string() : std::string(response.substr(end + 4));
}

}  // namespace nightswing::test
