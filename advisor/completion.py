"""Scripts that complete the verbs, their options and the words an argument may be, in bash, zsh and fish.

Made from the parser itself, so that a new verb completes without another list.
"""

from __future__ import annotations

import argparse
import shlex
from dataclasses import dataclass

FILES = frozenset({"FILE", "FOLDER"})  # metavars of arguments that are files


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One option (flags given) or positional argument (none): what it may be, and whether it is a file."""

    flags: tuple[str, ...]
    text: str
    takes: bool
    choices: tuple[str, ...]
    is_file: bool
    repeats: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VerbWords:
    """One verb with its options and positional arguments."""

    name: str
    text: str
    options: tuple[Word, ...]
    positionals: tuple[Word, ...]


def script(shell: str, parser: argparse.ArgumentParser) -> str:
    """The script for a shell. KeyError for one that is not known."""
    return {"bash": _bash, "zsh": _zsh, "fish": _fish}[shell](verbs_of(parser))


def verbs_of(parser: argparse.ArgumentParser) -> list[VerbWords]:
    """The verbs of a parser in their order; argparse has no public way to ask for them."""
    found = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            texts = {choice.dest: choice.help or "" for choice in action._choices_actions}
            found += [_verb(name, texts.get(name, ""), one) for name, one in action.choices.items()]
    return found


def _verb(name: str, text: str, parser: argparse.ArgumentParser) -> VerbWords:
    words = [_word(action) for action in parser._actions]
    return VerbWords(
        name=name,
        text=text,
        options=tuple(word for word in words if word.flags),
        positionals=tuple(word for word in words if not word.flags),
    )


def _word(action: argparse.Action) -> Word:
    return Word(
        flags=tuple(action.option_strings),
        text=action.help or "",
        takes=action.nargs != 0,
        choices=tuple(action.choices or ()),
        is_file=action.metavar in FILES,
        repeats=action.nargs in ("+", "*"),
    )


# --------------------------------------------------------------------------- bash


def _bash(verbs: list[VerbWords]) -> str:
    cases = "\n".join(_bash_case(verb) for verb in verbs)
    names = " ".join(verb.name for verb in verbs)
    return f"""# bash completion of advisor; in ~/.bashrc: eval "$(advisor completion bash)"
_advisor() {{
    local cur=${{COMP_WORDS[COMP_CWORD]}} prev=${{COMP_WORDS[COMP_CWORD-1]}} verb= options= words= i
    for ((i = 1; i < COMP_CWORD; i++)); do
        case ${{COMP_WORDS[i]}} in -*) ;; *) verb=${{COMP_WORDS[i]}}; break ;; esac
    done
    COMPREPLY=()
    case $verb in
    "") options="-h --help --version" words="{names}" ;;
{cases}
    esac
    if [[ $cur == -* ]]; then words=$options; fi
    COMPREPLY=($(compgen -W "$words" -- "$cur"))
}}
complete -o default -F _advisor advisor
"""


def _bash_case(verb: VerbWords) -> str:
    options = " ".join(flag for word in verb.options for flag in word.flags)
    words = " ".join(choice for word in verb.positionals for choice in word.choices)
    taking = [word for word in verb.options if word.takes]
    asked = "".join(
        f"        {'|'.join(word.flags)}) COMPREPLY=($(compgen -W {shlex.quote(' '.join(word.choices))} -- "
        '"$cur")); return ;;\n'
        if word.choices
        else f"        {'|'.join(word.flags)}) return ;;\n"
        for word in taking
    )
    after = f"        case $prev in\n{asked}        esac\n" if taking else ""
    return f'    {verb.name})\n        options="{options}" words="{words}"\n{after}        ;;'


# --------------------------------------------------------------------------- zsh


def _zsh(verbs: list[VerbWords]) -> str:
    named = "\n".join(f"        {_zsh_quote(f'{verb.name}:{verb.text}')}" for verb in verbs)
    cases = "\n".join(_zsh_case(verb) for verb in verbs)
    return f"""#compdef advisor
# zsh completion of advisor; in ~/.zshrc, after compinit: eval "$(advisor completion zsh)"
_advisor() {{
    local -a verbs
    verbs=(
{named}
    )
    if (( CURRENT == 2 )); then
        _describe -t verbs verb verbs
        return
    fi
    local verb=$words[2]
    shift words
    (( CURRENT-- ))
    case $verb in
{cases}
    esac
}}
compdef _advisor advisor
"""


def _zsh_case(verb: VerbWords) -> str:
    specs = [_zsh_option(word) for word in verb.options] + [_zsh_positional(word) for word in verb.positionals]
    lines = " \\\n            ".join(_zsh_quote(spec) for spec in specs)
    return f"    {verb.name})\n        _arguments -s \\\n            {lines} ;;"


def _zsh_option(word: Word) -> str:
    flag = word.flags[-1]
    value = f":value:{_zsh_action(word)}" if word.takes else ""
    return f"{flag}[{_zsh_text(word.text)}]{value}"


def _zsh_positional(word: Word) -> str:
    place = "*" if word.repeats else ""
    return f"{place}:{_zsh_text(word.text) or 'argument'}:{_zsh_action(word)}"


def _zsh_action(word: Word) -> str:
    if word.choices:
        return f"({' '.join(word.choices)})"
    return "_files" if word.is_file else " "


def _zsh_text(text: str) -> str:
    return "".join(f"\\{mark}" if mark in "[]:\\" else mark for mark in text)


def _zsh_quote(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"


# --------------------------------------------------------------------------- fish


def _fish(verbs: list[VerbWords]) -> str:
    lines = [
        "# fish completion of advisor; to be kept as ~/.config/fish/completions/advisor.fish",
        "complete -c advisor -f",
    ]
    for verb in verbs:
        lines.append(f"complete -c advisor -n __fish_use_subcommand -a {verb.name} -d {_fish_quote(verb.text)}")
    for verb in verbs:
        seen = f"complete -c advisor -n '__fish_seen_subcommand_from {verb.name}'"
        lines += [f"{seen} {_fish_option(word)}" for word in verb.options]
        lines += [f"{seen} -a {_fish_quote(' '.join(w.choices))}" for w in verb.positionals if w.choices]
        if any(word.is_file for word in verb.positionals):
            lines.append(f"{seen} -F")
    return "\n".join(lines) + "\n"


def _fish_option(word: Word) -> str:
    flags = " ".join(f"-l {flag[2:]}" if flag.startswith("--") else f"-s {flag[1:]}" for flag in word.flags)
    value = ""
    if word.takes:
        value = (
            f" -x -a {_fish_quote(' '.join(word.choices))}" if word.choices else " -r -F" if word.is_file else " -x"
        )
    return f"{flags}{value} -d {_fish_quote(word.text)}"


def _fish_quote(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
