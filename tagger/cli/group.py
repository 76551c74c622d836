"""The `deepthird` group: its commands, and what becomes of an error.

Command modules import nothing heavy at their top, so that `deepthird --help` answers at once and the CPU path never loads
PyTorch; what a command needs, it imports when it runs.
"""

from __future__ import annotations

import sys
from typing import Any

import click

from tagger.cli.calibrate import calibrate_command
from tagger.cli.cutup import cutup_command
from tagger.cli.export import export_command
from tagger.cli.forget import forget_command
from tagger.cli.inspect import inspect_command
from tagger.cli.report import report_command
from tagger.cli.reps import reps_command
from tagger.cli.review import review_command
from tagger.cli.roster import roster_command
from tagger.cli.score import score_command
from tagger.cli.show import show_command
from tagger.cli.simulate import simulate_command
from tagger.cli.split import split_command
from tagger.cli.tag import tag_command
from tagger.cli.tag_tracks import tag_tracks_command
from tagger.cli.train import train_command
from tagger.cli.watch import watch_command

INTERRUPTED = 130
"""Exit status of a program that a person stopped: 128 and the number of the interrupt signal, as shells count (POSIX)."""


class CleanGroup(click.Group):
    """A group whose errors are one line on stderr: `deepthird: what, where, what to do`."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        kwargs["standalone_mode"] = False
        try:
            status = super().main(*args, **kwargs)
        except click.UsageError as error:
            error.show()
            sys.exit(2)
        except click.ClickException as error:
            fail(error.format_message())
        except (click.Abort, KeyboardInterrupt):
            click.echo("deepthird: stopped; what was saved before is whole", err=True)
            sys.exit(INTERRUPTED)
        except BrokenPipeError:  # the reader of our output has gone, as with `| head`
            sys.stderr.close()
            sys.exit(1)
        except (ValueError, OSError) as error:
            fail(one_line(error))
        sys.exit(status if isinstance(status, int) else 0)


def one_line(error: BaseException) -> str:
    """An error's message as one line."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename or 'file'}: {error.strerror.lower()}"
    return " ".join(str(error).split()) or type(error).__name__


def fail(line: str) -> None:
    """Say it on stderr and exit 1."""
    click.echo(f"deepthird: {line}", err=True)
    sys.exit(1)


@click.group(cls=CleanGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="deepthird")
def main() -> None:
    """Tags every defender's coverage assignment in all-22 practice film, rep by rep.

    Start with: deepthird tag FOLDER, then deepthird reps.
    """


for _command in (tag_command, watch_command, split_command, tag_tracks_command, reps_command, show_command, cutup_command,
                 report_command, export_command, inspect_command, review_command, simulate_command, score_command,
                 train_command, forget_command, roster_command, calibrate_command):
    main.add_command(_command)
