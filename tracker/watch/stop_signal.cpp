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

void handle(int signal, void (*handler)(int)) {
  struct sigaction action {};
  action.sa_handler = handler;
  action.sa_flags = handler == note ? static_cast<int>(SA_RESETHAND) : 0;  // a second ends it
  ::sigaction(signal, &action, nullptr);
}

}  // namespace

StopSignal::StopSignal(Hangup hangup) {
  caught = 0;
  handle(SIGINT, note);
  handle(SIGTERM, note);
  handle(SIGHUP, hangup == Hangup::kGoesOn ? SIG_IGN : note);
  handle(SIGPIPE, SIG_IGN);
}

StopSignal::~StopSignal() {
  for (const int signal : {SIGINT, SIGTERM, SIGHUP, SIGPIPE}) handle(signal, SIG_DFL);
}

bool StopSignal::came() {
  return caught != 0;
}

std::string StopSignal::name() {
  if (!came()) return {};
  if (caught == SIGHUP) return "closed terminal";
  return caught == SIGINT ? "Ctrl-C" : "SIGTERM";
}

}  // namespace nightswing::tracker
