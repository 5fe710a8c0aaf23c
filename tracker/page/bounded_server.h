#pragma once

#include <chrono>
#include <cstddef>
#include <memory>

#include "tracker/page/page_address.h"
#include "tracker/page/page_exchange.h"

namespace nightswing::tracker {

struct ServerLimits {
  std::size_t connections = 64;  ///< with one more the oldest is closed
  std::size_t head_bytes = 8192;
  std::chrono::milliseconds request_patience{5000};    ///< for the whole head
  std::chrono::milliseconds response_patience{10000};  ///< for the whole response
};

/// An HTTP server that costs little, whatever is done to it. One thread of low priority waits for
/// all connections at once, so that slow ones cost a place, never a thread; a place is had for a
/// stated time, and the oldest goes when all are taken. The library (cpp-httplib) understands the
/// request and writes the response; its own loop is not used: it gives each connection a thread for
/// as long as bytes trickle in, has no limit on the length of a head, shares its port with other
/// programs, and ends for good when accepting fails once.
///
/// Only the headers named in PageRequest come through, so that ranges, codings, forms and bodies
/// need no defence: a request with a body is refused. Each connection serves one request. Every
/// response forbids caching, framing, guessing of types and everything from elsewhere.
class BoundedServer {
 public:
  /// Takes the address. throws InputError if nothing can be served there (taken, not of this
  /// computer).
  explicit BoundedServer(const PageAddress& address, const ServerLimits& limits = {});
  ~BoundedServer();
  BoundedServer(const BoundedServer&) = delete;
  BoundedServer& operator=(const BoundedServer&) = delete;

  /// Serves from now on, until the end of this. Once.
  ///   answer  called in the server's thread, one request after the other; what it throws becomes
  ///           status 500
  void serve(PageAnswer answer);

  [[nodiscard]] int port() const;

 private:
  class Loop;
  std::unique_ptr<Loop> loop_;
};

}  // namespace nightswing::tracker
