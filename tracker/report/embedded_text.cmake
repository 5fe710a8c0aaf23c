# Writes a C++ source that defines NAME as the bytes of FILE, so that the program carries the text
# with it: cmake -DNAME=... -DFILE=... -DOUTPUT=... -P embedded_text.cmake
file(READ "${FILE}" bytes HEX)
string(REGEX REPLACE "([0-9a-f][0-9a-f])" "'\\\\x\\1'," bytes "${bytes}")
string(REGEX REPLACE "('\\\\x..','\\\\x..','\\\\x..','\\\\x..','\\\\x..','\\\\x..','\\\\x..','\\\\x..',)" "\\1\n"
       bytes "${bytes}")
file(WRITE "${OUTPUT}"
"#include \"tracker/report/embedded_text.h\"

namespace nightswing::tracker {
namespace {

constexpr char kBytes[] = {
${bytes}};

}  // namespace

std::string_view ${NAME}() {
  return {kBytes, sizeof(kBytes)};
}

}  // namespace nightswing::tracker
")
