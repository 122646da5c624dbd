"""Bring a folder into order after a crash between two files."""

from pathlib import Path

from soffit.job.files import mend_tail, remove_temporary_files, replace_file
from soffit.job.history import HISTORY_FILE, FileChange, conclude, read_history
from soffit.job.patch import apply, text_hash
from soffit.job.readings_file import READINGS_FILE
from soffit.job.revision import empty_text, with_revision, without_revision
from soffit.job.texts import read_text


def current_text(folder: Path, name: str) -> str:
    """Return the text of a file; an absent one counts as empty.

    Parameters
    ----------
    folder
        Folder of the job.
    name
        Name of the file.
    """
    text = read_text(folder, name)
    return empty_text(name) if text is None else text


def repair(folder: Path) -> bool:
    """Bring a folder into order after a crash; its lock must be held.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    bool
        Whether anything had to be mended.
    """
    remove_temporary_files(folder)
    mended = [mend_tail(folder / name) for name in (HISTORY_FILE, READINGS_FILE)]
    entries = read_history(folder)
    if not entries or entries[-1].state != "begun":
        return any(mended)
    entry = entries[-1]
    texts = {change.name: current_text(folder, change.name) for change in entry.files}
    hashes = {name: text_hash(without_revision(name, text)) for name, text in texts.items()}
    if not any(hashes[change.name] == change.after for change in entry.files):
        conclude(folder, entry.number, "dropped")
        return True
    # at least one file was replaced: bring the others to the same write
    for change in entry.files:
        if hashes[change.name] == change.before:
            _write_change(folder, change, texts[change.name])
    conclude(folder, entry.number, "done")
    return True


def _write_change(folder: Path, change: FileChange, old: str) -> None:
    new = apply(without_revision(change.name, old), change.hunks)
    if new is None:
        return  # the file was changed by another program since; it is left alone
    replace_file(folder / change.name, with_revision(change.name, new, change.revision))
