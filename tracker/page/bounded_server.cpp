#include "tracker/page/bounded_server.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <list>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/thread_priority.h"

namespace nightswing::tracker {
namespace {

using Moment = std::chrono::steady_clock::time_point;

constexpr int kWaiting = 64;  // connections that the kernel keeps until they are accepted
constexpr int kLongestPoll_ms = 1000;
constexpr std::chrono::milliseconds kDrain{500};  // for the other side to take what was sent
constexpr std::chrono::milliseconds kRest{200};   // when the system gives no more sockets

class Descriptor {
 public:
  explicit Descriptor(int number = -1) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Descriptor& operator=(Descriptor&&) = delete;
  [[nodiscard]] int get() const { return number_; }

 private:
  int number_;
};

Descriptor listening_socket(const PageAddress& address) {
  sockaddr_storage place{};
  socklen_t size = 0;
  // Socket addresses of either version are passed as one general type.
  if (auto* v4 = reinterpret_cast<sockaddr_in*>(&place);
      ::inet_pton(AF_INET, address.host.c_str(), &v4->sin_addr) == 1) {
    v4->sin_family = AF_INET;
    v4->sin_port = htons(static_cast<std::uint16_t>(address.port));
    size = sizeof(*v4);
  } else if (auto* v6 = reinterpret_cast<sockaddr_in6*>(&place);
             ::inet_pton(AF_INET6, address.host.c_str(), &v6->sin6_addr) == 1) {
    v6->sin6_family = AF_INET6;
    v6->sin6_port = htons(static_cast<std::uint16_t>(address.port));
    size = sizeof(*v6);
  }
  Descriptor socket(::socket(place.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0));
  const int yes = 1;  // a port that was served a minute ago is free
  ::setsockopt(socket.get(), SOL_SOCKET, SO_REUSEADDR, &yes, sizeof(yes));
  if (::bind(socket.get(), reinterpret_cast<const sockaddr*>(&place), size) != 0 ||
      ::listen(socket.get(), kWaiting) != 0) {
    const int fault = errno;
    const bool is_foreign = fault == EADDRNOTAVAIL;
    throw InputError(
        fmt::format("no page can be served at {} port {} ({}); give --page {}",
                    address.host,
                    address.port,
                    is_foreign ? "this computer has no such address" : std::strerror(fault),
                    is_foreign ? "one that it has, or 0.0.0.0 for all of them" : "another port"));
  }
  return socket;
}

int port_of(int socket) {
  sockaddr_storage place{};
  socklen_t size = sizeof(place);
  ::getsockname(socket, reinterpret_cast<sockaddr*>(&place), &size);
  return ntohs(place.ss_family == AF_INET ? reinterpret_cast<sockaddr_in*>(&place)->sin_port
                                          : reinterpret_cast<sockaddr_in6*>(&place)->sin6_port);
}

enum class Phase { kReading, kWriting, kLeaving, kOver };

struct Connection {
  Connection(Descriptor s, Moment end) : socket(std::move(s)), until(end) {}
  Descriptor socket;
  Phase phase = Phase::kReading;
  Moment until;
  std::string text{};  // the head, then the response
  std::size_t sent = 0;
};

}  // namespace

class BoundedServer::Loop {
 public:
  Loop(const PageAddress& address, const ServerLimits& limits)
      : limits_(limits),
        listening_(listening_socket(address)),
        port_(port_of(listening_.get())),
        wake_(::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK)) {}
  ~Loop() {
    if (!thread_.joinable()) return;
    thread_.request_stop();
    const std::uint64_t one = 1;
    [[maybe_unused]] const auto written = ::write(wake_.get(), &one, sizeof(one));
    thread_.join();
  }
  Loop(const Loop&) = delete;
  Loop& operator=(const Loop&) = delete;

  void serve(PageAnswer answer) {
    exchange_.emplace(std::move(answer));
    thread_ = std::jthread([this](const std::stop_token& stop) { run(stop); });
  }

  [[nodiscard]] int port() const { return port_; }

 private:
  void run(const std::stop_token& stop) {
    lower_thread_priority(kBelowTracking);
    while (!stop.stop_requested()) {
      try {
        turn();
      } catch (const std::exception&) {
        connections_.clear();  // such as no memory: the night goes on, visitors may come again
      }
    }
  }

  void turn() {
    const std::vector<pollfd> ready = wait();
    const Moment now = std::chrono::steady_clock::now();
    std::size_t k = 2;
    for (Connection& connection : connections_) {
      if (ready[k++].revents != 0) go_on(connection);
      if (now > connection.until) connection.phase = Phase::kOver;
    }
    std::erase_if(connections_, [](const Connection& c) { return c.phase == Phase::kOver; });
    if (ready[1].revents != 0) accept();
  }

  std::vector<pollfd> wait() {
    const bool rests = std::chrono::steady_clock::now() < rests_until_;
    std::vector<pollfd> waited{{wake_.get(), POLLIN, 0},
                               {listening_.get(), static_cast<short>(rests ? 0 : POLLIN), 0}};
    for (const Connection& c : connections_) {
      waited.push_back(
          {c.socket.get(), static_cast<short>(c.phase == Phase::kWriting ? POLLOUT : POLLIN), 0});
    }
    const int patience_ms = connections_.empty() && !rests ? -1 : next_end_ms();
    if (::poll(waited.data(), waited.size(), patience_ms) < 0) {
      for (pollfd& one : waited) one.revents = 0;
    }
    return waited;
  }

  [[nodiscard]] int next_end_ms() const {
    Moment next = std::chrono::steady_clock::now() + std::chrono::milliseconds(kLongestPoll_ms);
    for (const Connection& c : connections_) next = std::min(next, c.until);
    if (rests_until_ > std::chrono::steady_clock::now()) next = std::min(next, rests_until_);
    const auto left =
        std::chrono::ceil<std::chrono::milliseconds>(next - std::chrono::steady_clock::now());
    return std::max(static_cast<int>(left.count()), 0) + 1;
  }

  void accept() {
    for (int k = 0; k < kWaiting; ++k) {  // then the others have their turn
      Descriptor socket(
          ::accept4(listening_.get(), nullptr, nullptr, SOCK_CLOEXEC | SOCK_NONBLOCK));
      const int fault = errno;
      if (socket.get() < 0) {
        const bool is_short =
            fault == EMFILE || fault == ENFILE || fault == ENOBUFS || fault == ENOMEM;
        if (is_short && !connections_.empty()) connections_.pop_front();
        if (is_short) rests_until_ = std::chrono::steady_clock::now() + kRest;
        return;
      }
      if (connections_.size() >= limits_.connections) connections_.pop_front();
      connections_.emplace_back(std::move(socket),
                                std::chrono::steady_clock::now() + limits_.request_patience);
      go_on(connections_.back());  // what it has to say may be there already
      if (connections_.back().phase == Phase::kOver) connections_.pop_back();
    }
  }

  void go_on(Connection& connection) {
    if (connection.phase == Phase::kReading) read(connection);
    if (connection.phase == Phase::kWriting) write(connection);
    if (connection.phase == Phase::kLeaving) drain(connection);
  }

  void read(Connection& c) {
    std::array<char, 4096> bytes{};
    const auto count = ::recv(c.socket.get(), bytes.data(), bytes.size(), 0);
    if (count < 0 && (errno == EAGAIN || errno == EINTR)) return;
    if (count <= 0) {
      c.phase = Phase::kOver;
      return;
    }
    c.text.append(bytes.data(), static_cast<std::size_t>(count));
    const std::size_t end = c.text.find("\r\n\r\n");
    if (std::min(end, c.text.size()) > limits_.head_bytes) {
      respond(c, PageExchange::refusal(431));
    } else if (end != std::string::npos) {
      respond(c, exchange_->response_to(c.text.substr(0, end + 4)));
    }
  }

  void respond(Connection& c, std::string response) {
    c.text = std::move(response);
    c.phase = Phase::kWriting;
    c.until = std::chrono::steady_clock::now() + limits_.response_patience;
  }

  void write(Connection& c) {
    const auto count =
        ::send(c.socket.get(), c.text.data() + c.sent, c.text.size() - c.sent, MSG_NOSIGNAL);
    if (count < 0 && (errno == EAGAIN || errno == EINTR)) return;
    if (count < 0) {
      c.phase = Phase::kOver;
      return;
    }
    c.sent += static_cast<std::size_t>(count);
    if (c.sent < c.text.size()) return;
    // Closed at once, with bytes still unread, the other side might lose the response.
    ::shutdown(c.socket.get(), SHUT_WR);
    c.text = {};
    c.phase = Phase::kLeaving;
    c.until = std::chrono::steady_clock::now() + kDrain;
  }

  static void drain(Connection& c) {
    std::array<char, 4096> bytes{};
    const auto count = ::recv(c.socket.get(), bytes.data(), bytes.size(), 0);
    const bool waits = count < 0 && (errno == EAGAIN || errno == EINTR);
    if (count <= 0 && !waits) c.phase = Phase::kOver;
  }

  ServerLimits limits_;
  std::optional<PageExchange> exchange_{};
  Descriptor listening_;
  int port_;
  Descriptor wake_;
  std::list<Connection> connections_{};  // oldest first
  Moment rests_until_{};
  std::jthread thread_{};  // last: it uses all of the above
};

BoundedServer::BoundedServer(const PageAddress& address, const ServerLimits& limits)
    : loop_(std::make_unique<Loop>(address, limits)) {}

BoundedServer::~BoundedServer() = default;

void BoundedServer::serve(PageAnswer answer) {
  loop_->serve(std::move(answer));
}

int BoundedServer::port() const {
  return loop_->port();
}

}  // namespace nightswing::tracker
