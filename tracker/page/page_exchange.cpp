#include "tracker/page/page_exchange.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <utility>

#include <httplib.h>

namespace nightswing::tracker {
namespace {

constexpr std::array<std::string_view, 4> kKnown{
    "host", "origin", "sec-fetch-site", "content-length"};

// Nothing from elsewhere, nothing into elsewhere, nothing kept. The chart draws its handles from
// data: pictures and writes styles.
const httplib::Headers kAlways{
    {"Content-Security-Policy",
     "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' "
     "data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"Cache-Control", "no-store"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {"Cross-Origin-Opener-Policy", "same-origin"}};

bool is_known(std::string_view line) {
  std::string name(line.substr(0, line.find(':')));
  std::ranges::transform(name, name.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return std::ranges::find(kKnown, name) != kKnown.end();
}

/// A request and its response as texts.
class TextStream : public httplib::Stream {
 public:
  explicit TextStream(std::string request) : request_(std::move(request)) {}

  [[nodiscard]] bool is_readable() const override { return true; }
  [[nodiscard]] bool is_writable() const override { return true; }
  ssize_t read(char* place, std::size_t size) override {
    const std::size_t count = std::min(size, request_.size() - read_);
    std::memcpy(place, request_.data() + read_, count);
    read_ += count;
    return static_cast<ssize_t>(count);
  }
  ssize_t write(const char* bytes, std::size_t size) override {
    response_.append(bytes, size);
    return static_cast<ssize_t>(size);
  }
  void get_remote_ip_and_port(std::string&, int&) const override {}
  void get_local_ip_and_port(std::string&, int&) const override {}
  [[nodiscard]] socket_t socket() const override { return INVALID_SOCKET; }

  [[nodiscard]] std::string take_response() { return std::move(response_); }

 private:
  std::string request_;
  std::size_t read_ = 0;
  std::string response_;
};

void put(const PageResponse& from, httplib::Response& to) {
  to.status = from.status;
  to.set_content(from.body, from.type);
}

}  // namespace

std::string known_headers(std::string_view head) {
  std::string known;
  for (std::size_t at = 0; at < head.size();) {
    const std::size_t end = std::min(head.find("\r\n", at), head.size());
    const std::string_view line = head.substr(at, end - at);
    if (at == 0 || is_known(line)) known.append(line).append("\r\n");
    at = end + 2;
  }
  return known + "\r\n";
}

class PageExchange::Library : public httplib::Server {
 public:
  explicit Library(PageAnswer answer) : answer_(std::move(answer)) {
    set_default_headers(kAlways);
    // Before anything else of the library's: no file, no body, no route of it is ever reached.
    set_pre_routing_handler([this](const httplib::Request& request, httplib::Response& response) {
      put(respond(request), response);
      return HandlerResponse::Handled;
    });
  }

  std::string respond_to(std::string head) {
    TextStream stream(std::move(head));
    bool is_closed = false;
    process_request(stream, true, is_closed, nullptr);
    return stream.take_response();
  }

 private:
  PageResponse respond(const httplib::Request& request) {
    if (request.get_header_value_count("Host") != 1) {
      return {.status = 400, .body = "one Host is needed\n"};
    }
    if (const std::string length = request.get_header_value("Content-Length");
        !length.empty() && length != "0") {
      return {.status = 413, .body = "no request here has a body\n"};
    }
    try {
      return answer_({.method = request.method,
                      .path = request.path,
                      .host = request.get_header_value("Host"),
                      .origin = request.get_header_value("Origin"),
                      .fetch_site = request.get_header_value("Sec-Fetch-Site"),
                      .parameter = [&](const std::string& name) {
                        return request.get_param_value(name.c_str());
                      }});
    } catch (const std::exception& error) {
      return {.status = 500, .body = std::string(error.what()) + "\n"};
    }
  }

  PageAnswer answer_;
};

PageExchange::PageExchange(PageAnswer answer)
    : library_(std::make_unique<Library>(std::move(answer))) {}

PageExchange::~PageExchange() = default;

std::string PageExchange::response_to(std::string_view head) {
  return library_->respond_to(known_headers(head));
}

std::string PageExchange::refusal(int status) {
  // A reason phrase is optional (RFC 9112, 4).
  return "HTTP/1.1 " + std::to_string(status) +
         " \r\nConnection: close\r\nContent-Length: 0\r\n\r\n";
}

}  // namespace nightswing::tracker
