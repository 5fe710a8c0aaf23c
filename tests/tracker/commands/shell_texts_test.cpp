#include <sstream>

#include <doctest/doctest.h>

#include "tests/support/command.h"
#include "tests/support/temporary_folder.h"
#include "tracker/commands/program.h"
#include "tracker/commands/shell_texts.h"

using namespace nightswing::test;
using namespace nightswing::tracker;

namespace {

std::vector<const CLI::App*> commands_of(const CLI::App& program) {
  return program.get_subcommands([](const CLI::App*) { return true; });
}

/// What bash offers when the words are typed and the tabulator is pressed, in the folder.
std::string offered(const TemporaryFolder& folder, const std::string& words) {
  write_text(folder / "completion", bash_completion(*make_program()));
  write_text(folder / "ask",
             "cd '" + folder.path().string() + "'\n. ./completion\nCOMP_WORDS=(nightswing " +
                 words +
                 ")\nCOMP_CWORD=$((${#COMP_WORDS[@]} - 1))\n_nightswing\n"
                 "echo \"${COMPREPLY[*]}\"\n");
  const auto answer = run_command("bash " + (folder / "ask").string());
  REQUIRE_MESSAGE(answer.status == 0, answer.errors);
  return answer.output;
}

}  // namespace

TEST_SUITE("shell texts") {
  TEST_CASE("the help of every command ends with an example and the next step") {
    const auto program = make_program();
    REQUIRE(commands_of(*program).size() >= 5);
    for (const CLI::App* command : commands_of(*program)) {
      CAPTURE(command->get_name());
      CHECK(command->get_footer().find("Example: nightswing " + command->get_name()) !=
            std::string::npos);
      CHECK(command->get_footer().find("Next:") != std::string::npos);
    }
  }

  TEST_CASE("the manual page names every command and option, and troff has no complaint") {
    const auto program = make_program();
    const std::string page = manual_page(*program);
    for (const char* section : {"NAME", "SYNOPSIS", "COMMANDS", "EXIT STATUS", "CAUTIONS"}) {
      CHECK(page.find(std::string(".SH ") + section) != std::string::npos);
    }
    for (const CLI::App* command : commands_of(*program)) {
      CHECK(page.find(".SS nightswing " + command->get_name()) != std::string::npos);
      for (const CLI::Option* option : command->get_options()) {
        for (const std::string& name : option->get_lnames()) {
          std::string in_roff = "\\-\\-";
          for (const char c : name) in_roff.append(c == '-' ? "\\-" : std::string(1, c));
          CHECK_MESSAGE(page.find(in_roff) != std::string::npos, name);
        }
      }
    }
    const TemporaryFolder folder;
    write_text(folder / "page.1", page);
    const auto troff = run_command("groff -man -ww -z " + (folder / "page.1").string());
    CHECK(troff.status == 0);
    CHECK_MESSAGE(troff.errors.empty(), troff.errors);
  }

  TEST_CASE("bash completes commands, options, their words, and files") {
    const TemporaryFolder folder;
    CHECK(offered(folder, "ana") == "analyse\n");
    CHECK(offered(folder, "mark run pl") == "plus\n");
    CHECK(offered(folder, "film run --siz") == "--size\n");
    CHECK(offered(folder, "film run --size ''") == "1080p source\n");
    CHECK(offered(folder, "film run -o as") == "ask\n");
  }

  TEST_CASE("the manual page says what stands for a value, also one that may be left out") {
    const TemporaryFolder folder;
    write_text(folder / "page.1", manual_page(*make_program()));
    const auto page = run_command("groff -man -Tascii -P-cbou " + (folder / "page.1").string());
    REQUIRE(page.status == 0);
    for (const char* option : {"\n       --page [[ADDRESS:]PORT]\n",
                               "\n       --side SIDE@MOMENT\n",
                               "\n       --size 1080p|source\n",
                               "\n       --quiet\n"}) {
      CHECK_MESSAGE(page.output.find(option) != std::string::npos, option);
    }
  }

  TEST_CASE("fish completes commands, options, their words, and shows texts with apostrophes") {
    const TemporaryFolder folder;
    write_text(folder / "nightswing.fish", fish_completion(*make_program()));
    const auto completed = [&](const std::string& words) {
      write_text(folder / "ask.fish",
                 "cd '" + folder.path().string() + "'\nsource nightswing.fish\ncomplete -C '" +
                     words + "'\n");
      const auto answer = run_command("HOME=" + folder.path().string() + " fish --no-config " +
                                      (folder / "ask.fish").string());
      CHECK_MESSAGE(answer.errors.empty(), answer.errors);
      return answer.output;
    };
    CHECK(completed("nightswing ana").starts_with("analyse\tequilibria, period, G"));
    CHECK(completed("nightswing film run --siz").starts_with("--size\t"));
    CHECK(completed("nightswing film run --size sou") ==
          "source\t1080p (1920 x 1080, the default) or source (the picture pixel for pixel)\n");
    CHECK(completed("nightswing mark run pl") == "plus\n");
    CHECK(completed("nightswing film run --capt").find("2h5m='The sources move'") !=
          std::string::npos);
  }

  TEST_CASE("zsh completes commands, options and their words") {
    const TemporaryFolder folder;
    write_text(folder / "_nightswing", zsh_completion(*make_program()));
    // Types into a shell at a terminal of its own; ^X shows the line as it stands then.
    write_text(
        folder / "ask.zsh",
        "zmodload zsh/zpty\n"
        "zpty shell \"FOLDER=$1 TERM=dumb PS1= zsh -f -i\"\n"
        "zpty -w shell 'show() { print \"\\n<$BUFFER>\" }; zle -N show; bindkey \"^X\" show; "
        "fpath=($FOLDER $fpath); autoload -U compinit; compinit -u -D; print REA''DY'\n"
        "zpty -r shell said '*READY*'\n"
        "zpty -w -n shell \"$2\"$'\\t\\x18'\n"
        "zpty -r shell said '*<*>*'\n"
        "print -r -- ${${said##*<}%%>*}\n");
    const auto completed = [&](const std::string& words) {
      const auto answer = run_command("timeout 20 zsh -f " + (folder / "ask.zsh").string() + " " +
                                      folder.path().string() + " '" + words + "'");
      CHECK_MESSAGE(answer.errors.empty(), answer.errors);
      return answer.output;
    };
    CHECK(completed("nightswing ana") == "nightswing analyse \n");
    CHECK(completed("nightswing mark run pl") == "nightswing mark run plus \n");
    CHECK(completed("nightswing film run --siz") == "nightswing film run --size \n");
    CHECK(completed("nightswing film run --size sou") == "nightswing film run --size source \n");
    CHECK(completed("nightswing watch --page-o") == "nightswing watch --page-open \n");
  }

  TEST_CASE("an option that takes no value is not completed with one") {
    const std::string fish = fish_completion(*make_program());
    std::istringstream lines(fish);
    int flags = 0;
    for (std::string line; std::getline(lines, line);) {
      if (line.find(" -l quiet") == std::string::npos) continue;
      CHECK(line.find(" -r") == std::string::npos);
      ++flags;
    }
    CHECK(flags >= 3);
  }

  TEST_CASE("zsh is told every command and option") {
    const auto program = make_program();
    const std::string zsh = zsh_completion(*program);
    CHECK(zsh.starts_with("#compdef nightswing\n"));
    for (const CLI::App* command : commands_of(*program)) {
      CHECK(zsh.find("'" + command->get_name() + ":") != std::string::npos);
      for (const CLI::Option* option : command->get_options()) {
        for (const std::string& name : option->get_lnames()) {
          CHECK(zsh.find("'*--" + name + "[") != std::string::npos);
        }
      }
    }
  }
}
