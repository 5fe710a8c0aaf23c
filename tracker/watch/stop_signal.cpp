#include "tracker/watch/stop_signal.h"

#include <atomic>
#include <csignal>

namespace nightswing::tracker {
namespace {

// A signal handler has no other way to tell what it saw.
std::atomic<int> caught = 0;
static_assert(std::atomic<int>::is_always_lock_free);

void note(int signal) {
  caught = signal;
}

void handle(void (*handler)(int)) {
  struct sigaction action {};
  action.sa_handler = handler;
  action.sa_flags = static_cast<int>(SA_RESETHAND);  // the second one is not caught
  ::sigaction(SIGINT, &action, nullptr);
  ::sigaction(SIGTERM, &action, nullptr);
}

}  // namespace

StopSignal::StopSignal() {
  caught = 0;
  handle(note);
}

StopSignal::~StopSignal() {
  handle(SIG_DFL);
}

bool StopSignal::came() {
  return caught != 0;
}

std::string StopSignal::name() {
  if (!came()) return {};
  return caught == SIGINT ? "Ctrl-C" : "SIGTERM";
}

}  // namespace nightswing::tracker
