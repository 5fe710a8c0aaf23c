#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace nightswing::tracker {

/// Where the live page is served.
struct PageAddress {
  std::string host = "127.0.0.1";  ///< an IP address as digits, of version 4 or 6
  int port = 8080;                 ///< 0: any that is free
  bool is_open = false;            ///< reachable from other computers
  bool operator==(const PageAddress&) const = default;
};

/// `8080`, `127.0.0.1:8080`, `[::1]:8080`, `localhost:8080`; empty: 127.0.0.1:8080.
///   open  whether other addresses than those of this computer alone are wanted
/// throws InputError for another text, and for an address that others can reach without `open`.
[[nodiscard]] PageAddress parse_page_address(std::string_view text, bool open);

/// 128 random bits from the kernel, as 32 hexadecimal digits. throws InputError if it gives none.
[[nodiscard]] std::string random_token();

/// Whether this is of the form of such a token.
[[nodiscard]] bool is_token(std::string_view text);

/// Whether both are the same, in a time that does not tell where they differ.
[[nodiscard]] bool is_same_secret(std::string_view a, std::string_view b);

/// Whether a request's `Host` names this page's server. A name that somebody else has made to point
/// at this computer does not (DNS rebinding). An open page also answers to any IP address and to
/// this computer's own name.
///   port  at which it is served
[[nodiscard]] bool is_own_host(const PageAddress& address, int port, std::string_view host);

/// The page as people type it: once, or for an address that stands for all of this computer's, with
/// each of them.
[[nodiscard]] std::vector<std::string> page_urls(const PageAddress& address,
                                                 int port,
                                                 const std::string& token);

}  // namespace nightswing::tracker
