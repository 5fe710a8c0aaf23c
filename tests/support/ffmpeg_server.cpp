#include "tests/support/ffmpeg_server.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>

#include <doctest/doctest.h>

namespace nightswing::test {

int free_port() {
  const int socket = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof(address);
  REQUIRE(::bind(socket, reinterpret_cast<sockaddr*>(&address), size) == 0);
  REQUIRE(::getsockname(socket, reinterpret_cast<sockaddr*>(&address), &size) == 0);
  ::close(socket);
  return ntohs(address.sin_port);
}

FfmpegServer::FfmpegServer(const std::vector<std::string>& input,
                           const std::vector<std::string>& encoding)
    : address_("http://127.0.0.1:" + std::to_string(free_port()) + "/video") {
  std::vector<std::string> words{"ffmpeg", "-v", "quiet", "-nostdin", "-re"};
  words.insert(words.end(), input.begin(), input.end());
  words.insert(words.end(), encoding.begin(), encoding.end());
  words.insert(words.end(), {"-listen", "1", address_});
  std::vector<char*> arguments;
  for (std::string& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  child_ = ::fork();
  REQUIRE(child_ >= 0);
  if (child_ == 0) {
    ::execvp("ffmpeg", arguments.data());
    ::_exit(127);
  }
}

FfmpegServer::~FfmpegServer() {
  ::kill(child_, SIGKILL);
  ::waitpid(child_, nullptr, 0);
}

}  // namespace nightswing::test
