#include "tracker/page/page_address.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <sys/random.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <memory>
#include <optional>

#include <fmt/format.h>

#include "analysis/quantities/input_error.h"
#include "tracker/text/usage_error.h"

namespace nightswing::tracker {
namespace {

constexpr std::size_t kTokenBytes = 16;

bool is_version_4(const std::string& host) {
  in_addr address{};
  return ::inet_pton(AF_INET, host.c_str(), &address) == 1;
}

bool is_version_6(const std::string& host) {
  in6_addr address{};
  return ::inet_pton(AF_INET6, host.c_str(), &address) == 1;
}

/// Reachable from this computer only: 127.0.0.0/8 (RFC 1122, 3.2.1.3) and ::1 (RFC 4291, 2.5.3).
bool is_loopback(const std::string& host) {
  return (is_version_4(host) && host.starts_with("127.")) || host == "::1";
}

std::optional<int> parse_port(std::string_view text) {
  int port = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), port);
  if (error != std::errc() || end != text.data() + text.size() || port < 0 || port > 65535) {
    return std::nullopt;
  }
  return port;
}

std::string in_url(const std::string& host) {
  return is_version_6(host) ? "[" + host + "]" : host;
}

std::string name_of_this_computer() {
  std::array<char, 256> name{};
  if (::gethostname(name.data(), name.size() - 1) != 0) return {};
  return name.data();
}

/// Of version 4, other than loopback.
std::vector<std::string> addresses_of_this_computer() {
  ifaddrs* first = nullptr;
  if (::getifaddrs(&first) != 0) return {};
  const std::unique_ptr<ifaddrs, decltype(&::freeifaddrs)> owner(first, ::freeifaddrs);
  std::vector<std::string> addresses;
  for (const ifaddrs* at = first; at != nullptr; at = at->ifa_next) {
    const bool counts = at->ifa_addr != nullptr && at->ifa_addr->sa_family == AF_INET &&
                        (at->ifa_flags & IFF_UP) != 0 && (at->ifa_flags & IFF_LOOPBACK) == 0;
    if (!counts) continue;
    std::array<char, INET_ADDRSTRLEN> text{};
    // The kernel's addresses come as bytes under a general type.
    const auto* address = reinterpret_cast<const sockaddr_in*>(at->ifa_addr);
    ::inet_ntop(AF_INET, &address->sin_addr, text.data(), text.size());
    addresses.emplace_back(text.data());
  }
  return addresses;
}

}  // namespace

PageAddress parse_page_address(std::string_view text, bool open) {
  PageAddress address;
  std::string_view port = text;
  if (const auto colon = text.rfind(':'); colon != std::string_view::npos) {
    port = text.substr(colon + 1);
    std::string host(text.substr(0, colon));
    if (host == "localhost") host = "127.0.0.1";
    if (host.starts_with('[') && host.ends_with(']')) {
      host = host.substr(1, host.size() - 2);
    } else if (is_version_6(host)) {
      host.clear();  // where does its port begin?
    }
    address.host = host;
  }
  const auto number = text.empty() ? address.port : parse_port(port);
  if (!number || (!is_version_4(address.host) && !is_version_6(address.host))) {
    throw UsageError(
        fmt::format("--page {}: the address is a port such as 8080, or with an IP address before "
                    "it, such as 127.0.0.1:8080 or [::1]:8080",
                    text));
  }
  address.port = *number;
  address.is_open = !is_loopback(address.host);
  if (address.is_open && !open) {
    throw UsageError(fmt::format(
        "--page {}: others could open the page at this address; add --page-open if they shall "
        "(the page then asks for the token in the address that is printed)",
        text));
  }
  return address;
}

std::string random_token() {
  std::array<unsigned char, kTokenBytes> bytes{};
  if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size())) {
    throw InputError("the system gives no random numbers for the token of the page");
  }
  std::string token;
  for (const unsigned char byte : bytes) token += fmt::format("{:02x}", byte);
  return token;
}

bool is_token(std::string_view text) {
  return text.size() == 2 * kTokenBytes &&
         text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

bool is_same_secret(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  unsigned difference = 0;
  for (std::size_t k = 0; k < a.size(); ++k) {
    difference |=
        static_cast<unsigned char>(a[k]) ^ static_cast<unsigned>(static_cast<unsigned char>(b[k]));
  }
  return difference == 0;
}

bool is_own_host(const PageAddress& address, int port, std::string_view host) {
  const std::string after = fmt::format(":{}", port);
  if (host.ends_with(after)) {
    host.remove_suffix(after.size());
  } else if (port != 80) {  // the one port that is left out (RFC 9110, 4.2.1)
    return false;
  }
  std::string name(host);
  std::ranges::transform(name, name.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  if (name.starts_with('[') && name.ends_with(']')) name = name.substr(1, name.size() - 2);
  if (name == "localhost" || name == address.host || is_loopback(name)) return true;
  if (!address.is_open) return false;
  const std::string own = name_of_this_computer();
  return is_version_4(name) || is_version_6(name) ||
         (!own.empty() && (name == own || name == own + ".local"));
}

std::vector<std::string> page_urls(const PageAddress& address, int port, const std::string& token) {
  std::vector<std::string> hosts{address.host};
  if (address.host == "0.0.0.0" || address.host == "::") {
    hosts = addresses_of_this_computer();
    if (hosts.empty()) hosts = {"127.0.0.1"};
  }
  for (std::string& host : hosts) {
    host = fmt::format("http://{}:{}/?token={}", in_url(host), port, token);
  }
  return hosts;
}

}  // namespace nightswing::tracker
