#include "tracker/commands/shell_texts.h"

#include <sstream>
#include <vector>

#include <fmt/format.h>

#include "tracker/text/shell_word.h"
#include "tracker/version.h"

namespace nightswing::tracker {
namespace {

/// What the texts need to know of one option.
struct OptionWords {
  std::vector<std::string> names;  ///< with their dashes
  std::string description;
  std::vector<std::string> choices;  ///< the words it takes; empty: any
  std::string value;                 ///< what stands for its value; empty if it takes none
  bool needs_value;                  ///< it cannot stand without one
};

struct CommandWords {
  std::string name;
  std::string description;
  std::string footer;
  std::vector<OptionWords> options;
  std::vector<OptionWords> positionals;
};

/// The words of `TEXT:{plus,minus,away}`.
std::vector<std::string> choices_in(const std::string& type_name) {
  std::vector<std::string> choices;
  const auto open = type_name.find('{');
  const auto close = type_name.find('}');
  if (open == std::string::npos || close == std::string::npos) return choices;
  std::istringstream words(type_name.substr(open + 1, close - open - 1));
  for (std::string word; std::getline(words, word, ',');) choices.push_back(word);
  return choices;
}

std::string joined(const std::vector<std::string>& words, std::string_view between) {
  std::string text;
  for (const std::string& word : words) {
    if (!text.empty()) text += between;
    text += word;
  }
  return text;
}

/// What stands for the value of an option: its words, or that which its checks are called, as
/// SIDE@MOMENT in `TEXT:SIDE@MOMENT`. Brackets around what may be left out.
std::string value_of(const CLI::Option& option, const std::vector<std::string>& choices) {
  if (option.get_items_expected_max() == 0) return {};
  const std::string type = option.get_type_name();
  std::string value = "value";
  if (!choices.empty()) {
    value = joined(choices, "|");
  } else if (const auto end = type.rfind(':');
             type.starts_with("TEXT:") || type.starts_with("FLOAT:")) {
    value = type.substr(end + 1);
  } else if (type != "TEXT" && type != "FLOAT") {
    value = type;
  }
  return option.get_items_expected_min() == 0 ? "[" + value + "]" : value;
}

CommandWords words_of(const CLI::App& command) {
  CommandWords words{.name = command.get_name(),
                     .description = command.get_description(),
                     .footer = command.get_footer(),
                     .options = {},
                     .positionals = {}};
  for (const CLI::Option* option : command.get_options()) {
    OptionWords one{.names = {},
                    .description = option->get_description(),
                    .choices = choices_in(option->get_type_name()),
                    .value = {},
                    .needs_value = option->get_items_expected_min() > 0};
    one.value = value_of(*option, one.choices);
    for (const std::string& name : option->get_snames()) one.names.push_back("-" + name);
    for (const std::string& name : option->get_lnames()) one.names.push_back("--" + name);
    if (one.names.empty()) {
      one.names.push_back(option->get_name(true));
      if (one.choices.empty()) one.value.clear();  // itself a value
      words.positionals.push_back(one);
    } else {
      words.options.push_back(one);
    }
  }
  return words;
}

std::vector<CommandWords> commands_of(const CLI::App& program) {
  std::vector<CommandWords> list;
  for (const CLI::App* command : program.get_subcommands([](const CLI::App*) { return true; })) {
    list.push_back(words_of(*command));
  }
  return list;
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size()) {
    text.replace(at, from.size(), to);
  }
  return text;
}

/// Text for roff: backslashes and dashes as they are meant, no line that looks like a request.
std::string roff(const std::string& text) {
  std::string out = replaced(replaced(text, "\\", "\\e"), "-", "\\-");
  out = replaced(out, "\n.", "\n\\&.");
  out = replaced(out, "\n'", "\n\\&'");
  if (out.starts_with('.') || out.starts_with('\'')) out.insert(0, "\\&");
  return out;
}

/// Text inside single quotes of fish, where a backslash keeps its meaning before these two.
std::string fish_quoted(const std::string& text) {
  return "'" + replaced(replaced(text, "\\", "\\\\"), "'", "\\'") + "'";
}

std::string roff_option(const OptionWords& option) {
  const std::string value = option.value.empty() ? "" : " \\fI" + roff(option.value) + "\\fR";
  return fmt::format(
      ".TP\n\\fB{}\\fR{}\n{}\n", roff(joined(option.names, ", ")), value, roff(option.description));
}

std::string names_of_options(const CommandWords& command) {
  std::vector<std::string> names;
  for (const OptionWords& option : command.options) {
    names.insert(names.end(), option.names.begin(), option.names.end());
  }
  return joined(names, " ");
}

std::vector<std::string> names_of(const std::vector<CommandWords>& commands) {
  std::vector<std::string> names;
  for (const CommandWords& command : commands) names.push_back(command.name);
  return names;
}

/// The words that a positional of the command takes, if it takes only certain ones.
std::string positional_choices(const CommandWords& command) {
  std::vector<std::string> words;
  for (const OptionWords& positional : command.positionals) {
    words.insert(words.end(), positional.choices.begin(), positional.choices.end());
  }
  return joined(words, " ");
}

}  // namespace

std::string manual_page(const CLI::App& program) {
  const auto commands = commands_of(program);
  const CommandWords whole = words_of(program);
  std::string text = fmt::format(
      ".TH NIGHTSWING 1 \"\" \"{}\" \"User commands\"\n.SH NAME\nnightswing \\- {}\n.SH SYNOPSIS\n"
      ".B nightswing\n.I command\n[\\fIoption\\fR ...]\n.SH COMMANDS\n",
      roff(program_and_version()),
      roff(whole.description));
  for (const CommandWords& command : commands) {
    std::string synopsis = "nightswing " + command.name;
    for (const OptionWords& positional : command.positionals) {
      synopsis += " " + positional.names.front();
    }
    text += fmt::format(".SS {}\n{}\n", roff(synopsis), roff(command.description));
    for (const OptionWords& positional : command.positionals) text += roff_option(positional);
    for (const OptionWords& option : command.options) text += roff_option(option);
    if (!command.footer.empty()) {
      text += fmt::format(".PP\n.nf\n{}\n.fi\n", roff(command.footer));
    }
  }
  text +=
      ".SH EXIT STATUS\n0 done, also when the honest answer is that no shift was found; 1 the "
      "work could not be done, one sentence on the standard error says why; 2 wrong usage.\n";
  return text + fmt::format(".SH CAUTIONS\n{}\n", roff(whole.footer));
}

std::string bash_completion(const CLI::App& program) {
  const auto commands = commands_of(program);
  std::string cases;
  std::string values;
  for (const CommandWords& command : commands) {
    cases += fmt::format("    {}) options={}; words={} ;;\n",
                         command.name,
                         shell_quoted(names_of_options(command)),
                         shell_quoted(positional_choices(command)));
    for (const OptionWords& option : command.options) {
      if (option.choices.empty()) continue;
      values += fmt::format("    {}) COMPREPLY=($(compgen -W {} -- \"$now\")); return ;;\n",
                            command.name + ":" + joined(option.names, "|" + command.name + ":"),
                            shell_quoted(joined(option.choices, " ")));
    }
  }
  return fmt::format(
      "# Completion of nightswing for bash, generated from its command line.\n"
      "_nightswing() {{\n"
      "  local now=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}}\n"
      "  local command=${{COMP_WORDS[1]}} options= words=\n"
      "  COMPREPLY=()\n"
      "  if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
      "    COMPREPLY=($(compgen -W {} -- \"$now\"))\n"
      "    return\n"
      "  fi\n"
      "  case \"$command:$before\" in\n{}  esac\n"
      "  case \"$command\" in\n{}  esac\n"
      "  case \"$now\" in\n"
      "    -*) COMPREPLY=($(compgen -W \"$options\" -- \"$now\")) ;;\n"
      "    *) COMPREPLY=($(compgen -W \"$words\" -- \"$now\") $(compgen -f -- \"$now\")) ;;\n"
      "  esac\n"
      "}}\n"
      "complete -o filenames -F _nightswing nightswing\n",
      shell_quoted(joined(names_of(commands), " ") + " --help --version"),
      values,
      cases);
}

std::string zsh_completion(const CLI::App& program) {
  // Inside the specifications of _arguments, brackets and colons have a meaning of their own.
  const auto plain = [](std::string text) {
    text = replaced(std::move(text), "[", "(");
    text = replaced(std::move(text), "]", ")");
    return replaced(std::move(text), ":", " ");
  };
  std::string list;
  std::string cases;
  for (const CommandWords& command : commands_of(program)) {
    list += "    " + shell_quoted(command.name + ":" + plain(command.description)) + "\n";
    cases += fmt::format("    {}) _arguments", command.name);
    for (const OptionWords& option : command.options) {
      for (const std::string& name : option.names) {
        std::string value;
        if (!option.value.empty()) {
          value = option.choices.empty() ? ":value:_files"
                                         : ":value:(" + joined(option.choices, " ") + ")";
          if (!option.needs_value) value.insert(0, ":");
        }
        cases += " \\\n      " +
                 shell_quoted("*" + name + "[" + plain(option.description) + "]" + value);
      }
    }
    for (const OptionWords& positional : command.positionals) {
      const std::string words =
          positional.choices.empty() ? "_files" : "(" + joined(positional.choices, " ") + ")";
      cases += " \\\n      " + shell_quoted(":" + positional.names.front() + ":" + words);
    }
    cases += " ;;\n";
  }
  return fmt::format(
      "#compdef nightswing\n"
      "# Completion of nightswing for zsh, generated from its command line.\n"
      "_nightswing() {{\n"
      "  local -a commands=(\n{}  )\n"
      "  if (( CURRENT == 2 )); then\n"
      "    _describe command commands\n"
      "    return\n"
      "  fi\n"
      "  local command=$words[2]\n"
      "  shift words\n"
      "  (( CURRENT-- ))\n"
      "  case $command in\n{}  esac\n"
      "}}\n"
      "_nightswing \"$@\"\n",
      list,
      cases);
}

std::string fish_completion(const CLI::App& program) {
  std::string text =
      "# Completion of nightswing for fish, generated from its command line.\n"
      "complete -c nightswing -n __fish_use_subcommand -f\n";
  for (const CommandWords& command : commands_of(program)) {
    text += fmt::format("complete -c nightswing -n __fish_use_subcommand -a {} -d {}\n",
                        command.name,
                        fish_quoted(command.description));
    const std::string here =
        fmt::format("complete -c nightswing -n '__fish_seen_subcommand_from {}'", command.name);
    for (const OptionWords& option : command.options) {
      text += here;
      for (const std::string& name : option.names) {
        text += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
      }
      if (option.needs_value) text += option.choices.empty() ? " -r" : " -x";
      if (!option.choices.empty()) text += " -a " + fish_quoted(joined(option.choices, " "));
      text += " -d " + fish_quoted(option.description) + "\n";
    }
    const std::string words = positional_choices(command);
    if (!words.empty()) text += fmt::format("{} -a {}\n", here, fish_quoted(words));
  }
  return text;
}

}  // namespace nightswing::tracker
