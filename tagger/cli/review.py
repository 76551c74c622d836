"""deepthird review: the page on which coaches look at the tags and correct them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tagger.cli.console import say
from tagger.cli.options import library_option

if TYPE_CHECKING:
    from tagger.review.serve import Listening


@click.command("review")
@library_option
@click.option("--port", type=click.IntRange(0, 65535), default=8423, show_default=True, help="Port; 0 takes any free one.")
@click.option(
    "--share",
    metavar="ADDRESS",
    default=None,
    help="Also for the staff: this machine's address on their network. Asks everybody for a token.",
)
@click.option("--open/--no-open", "open_page", default=True, help="Open the page in the browser.")
@click.option("--upload-quota", type=click.FloatRange(0.0), default=500.0, show_default=True, metavar="GIB",
              help="So much film may be uploaded to the library, all together.")
def review_command(library: Path, port: int, share: str | None, open_page: bool, upload_quota: float) -> None:
    """Look at the tags where the machine is unsure, and correct them.

    The page is served to this machine alone and needs no internet. With --share it is open to others on the network who
    have its address with the token; what that exposes is said when it starts.
    """
    from tagger.review.serve import serve
    from tagger.review.upload_store import GIB, UploadLimits

    def ready(listening: Listening) -> None:
        if listening.warning:
            say(listening.warning)
        say(f"Review: {listening.address}  (stop with Ctrl-C)")
        if open_page:
            click.launch(listening.address)

    serve(library, port, share, ready, UploadLimits(quota_bytes=int(upload_quota * GIB)))
