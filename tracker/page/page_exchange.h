#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

namespace nightswing::tracker {

/// A request as far as the pages know it.
struct PageRequest {
  std::string method;
  std::string path;        ///< percent signs resolved
  std::string host;        ///< `Host`
  std::string origin;      ///< `Origin`; empty if the browser sent none
  std::string fetch_site;  ///< `Sec-Fetch-Site`, the same
  std::function<std::string(const std::string& name)> parameter;  ///< of the query; empty: none
};

struct PageResponse {
  int status = 200;
  std::string type = "text/plain; charset=utf-8";
  std::string body{};
};

using PageAnswer = std::function<PageResponse(const PageRequest&)>;

/// The head of a request with nothing but its first line and the headers that the pages know
/// (`Host`, `Origin`, `Sec-Fetch-Site`, `Content-Length`); no other is ever looked at.
[[nodiscard]] std::string known_headers(std::string_view head);

/// From the bytes of a request to those of its response; where cpp-httplib is put to work.
class PageExchange {
 public:
  explicit PageExchange(PageAnswer answer);
  ~PageExchange();

  ///   head  to the empty line, its end included
  [[nodiscard]] std::string response_to(std::string_view head);
  /// Of a request that was not read to its end.
  [[nodiscard]] static std::string refusal(int status);

 private:
  class Library;
  std::unique_ptr<Library> library_;
};

}  // namespace nightswing::tracker
