"""``soffit serve``: open the page on which the whole job is done."""

import socket
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soffit.cli.show import json_option, show_json

if TYPE_CHECKING:
    from soffit.web.guard import Rules

PORT = 8347
"""Port of the page, if it is free."""


@click.command("serve", epilog="Example:  soffit serve jobs  (a folder of jobs, or one job)")
@click.argument("folder", type=click.Path(file_okay=False), default=".", metavar="[FOLDER]")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True,
              help="Port; 0 takes a free one.")  # fmt: skip
@click.option("--lan", is_flag=True, help="Let phones in the same network in, by a secret link.")
@click.option("--address", default="", help="With --lan: this address of the machine.")
@click.option("--new", "is_new", is_flag=True, help="Make FOLDER where there is none yet.")
@click.option("--open/--no-open", "is_opened", default=True, help="Open the browser.")
@json_option
def command(
    *,
    folder: str,
    port: int,
    lan: bool,
    address: str,
    is_new: bool,
    is_opened: bool,
    as_json: bool,
) -> int:
    """Open the page for the job, or the folder of jobs, in FOLDER."""
    from soffit.web.guard import Rules

    is_made = _need_folder(Path(folder), is_new=is_new)
    host = (address or _own_address()) if lan else "127.0.0.1"
    listener = _listener(host, port)
    port = listener.getsockname()[1]
    rules = Rules.lan(host, port) if lan else Rules.loopback(port)
    link = f"http://{next(iter(rules.hosts)) if lan else f'127.0.0.1:{port}'}/"
    if rules.token:
        link += f"enter?token={rules.token}"
    if as_json:
        show_json({"link": link, "folder": str(Path(folder)), "lan": lan, "made": is_made})
    else:
        if is_made:
            click.echo(f"made a new folder for jobs at {folder}")
        _say(link, lan=lan)
    if is_opened and not lan:
        webbrowser.open(link)
    _run(listener, Path(folder), rules)
    return 0


def _need_folder(folder: Path, *, is_new: bool) -> bool:
    """Make a folder where that was asked for; a mistyped name makes none and says what is near."""
    if folder.is_dir():
        return False
    if is_new:
        folder.mkdir(parents=True)
        return True
    from soffit.errors import JobError

    raise JobError(
        what=f"there is no folder {str(folder)!r}",
        where=str(folder),
        why=_beside(folder),
        do="check its name; or begin an empty one there with --new",
    )


def _beside(folder: Path) -> str:
    """Return what is there instead of a folder that is not."""
    import difflib

    above = folder.absolute().parent
    if not above.is_dir():
        return f"the folder above it, {above}, is not there either"
    names = sorted(
        item.name for item in above.iterdir() if item.is_dir() and not item.name.startswith(".")
    )
    near = difflib.get_close_matches(folder.name, names, n=3, cutoff=0.5)
    if near:
        return f"did you mean {' or '.join(near)}?"
    return f"{above} has {', '.join(names[:8]) or 'no folders'}"


def _say(link: str, *, lan: bool) -> None:
    click.echo(f"the page is open at  {link}")
    if lan:
        import io

        import segno

        picture = io.StringIO()
        segno.make(link, micro=False).terminal(out=picture, compact=True, border=2)
        click.echo(picture.getvalue())
        click.echo(
            "Whoever has this link can read and change these jobs until you stop the page.\n"
            "It travels unencrypted: use it in a network that you trust."
        )
    click.echo("Ctrl+C stops it; everything shown as saved is on the disk.")


def _own_address() -> str:
    """Return the address by which this machine reaches its network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address that no machine has
            return str(probe.getsockname()[0])
        except OSError:
            from soffit.errors import JobError

            raise JobError(
                what="this machine has no address in a network",
                where="--lan",
                why="the operating system knows no way out",
                do="connect it, or name an address with --address",
            ) from None


def _listener(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # asyncio sends small answers at once only on sockets that say that they are TCP; the others
    # wait up to 40 ms for the browser's acknowledgement (RFC 1122, 4.2.3.2; RFC 896)
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        from soffit.errors import JobError

        raise JobError(
            what=f"the page cannot be opened at {host}:{port}",
            where="--port",
            why=str(error.strerror),
            do="close what uses it, or take another one: --port 0 finds a free one",
        ) from None
    listener.listen(64)
    return listener


def _run(listener: socket.socket, folder: Path, rules: "Rules") -> None:
    import gc

    gc.disable()  # what is imported stays: looking through it for rubbish costs a tenth of a start
    import uvicorn

    from soffit.web.app import make_app

    gc.freeze()
    gc.enable()
    config = uvicorn.Config(
        make_app(folder, rules, is_warm=True),
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run(sockets=[listener])
