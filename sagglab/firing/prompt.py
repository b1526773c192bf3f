"""The prompt at the kiln: a shell in which readings are typed into the log."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sagglab.errors import SagglabError
from sagglab.firing.kiln_log import KilnLog, asks_for_help, short_unit

SHORT_HELP = "Type a temperature and press Enter; - strikes out the last one, help says more, done ends."
_ENDS = "done          ends; so do Ctrl-D and Ctrl-C. You can go on later with the same command"


@dataclass(frozen=True)
class KilnPrompt:
    """The prompt at the kiln for one log.

    Attributes
    ----------
    log : KilnLog
    ask : callable
        Gives the next line for a prompt; raises EOFError or KeyboardInterrupt at the end.
    say : callable
        Shows a line.
    """

    log: KilnLog
    ask: Callable[[str], str]
    say: Callable[[str], None]

    def run(self) -> None:
        """Take readings until there are no more.

        Raises
        ------
        FileFormatError
            The file is no record that was typed here.
        """
        begun = self.log.go_on()
        self._say(() if begun is None else begun.said)
        self.say(SHORT_HELP)
        try:
            while (line := self.ask(f"{short_unit(self.log.unit)}> ").strip()).lower() != "done":
                self._say(self.log.answer(line).said)
                if asks_for_help(line):
                    self.say(_ENDS)
        except (EOFError, KeyboardInterrupt):
            self.say("")
        try:
            self.say(self.log.where_they_are())
        except SagglabError as error:
            self.say(str(error))

    def _say(self, lines: Iterable[str]) -> None:
        for line in lines:
            self.say(line)
