"""Collect everything that is wrong with a file, each with line and key path."""

import difflib
import types
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Final, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from soffit.errors import JobError, Problem, SoffitError
from soffit.job.locate import Locator, Path, path_text

_SHOWN: Final = 60


def shown(value: object) -> str:
    """Return an offending value, short enough for a line.

    Parameters
    ----------
    value
        Any value of a file.

    Returns
    -------
    str
        Its text.
    """
    text = repr(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def suggestion(word: str, known: Iterable[str]) -> str:
    """Return the known word that was most likely meant, or an empty text.

    Parameters
    ----------
    word
        What was written.
    known
        What could have been.

    Returns
    -------
    str
        The closest, if any is close.
    """
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return close[0] if close else ""


class Problems:
    """Problems of one file, in the order in which they were found.

    Parameters
    ----------
    locator
        Finds the line of a key path.
    """

    def __init__(self, locator: Locator) -> None:
        self.locator = locator
        self.found: list[Problem] = []

    def add(self, path: Path, what: str, *, why: str, do: str) -> None:
        """Note one problem.

        Parameters
        ----------
        path
            Where.
        what, why, do
            The other three parts.
        """
        self.found.append(Problem(what=what, where=self.locator.where(path), why=why, do=do))

    def unknown(self, path: Path, name: str, known: Iterable[str], noun: str) -> None:
        """Note a reference to something that does not exist.

        Parameters
        ----------
        path
            Where it is referred to.
        name
            What was written.
        known
            What exists.
        noun
            What it should be, such as ``room``.
        """
        names = sorted(known)
        close = suggestion(name, names)
        self.add(
            path,
            f"there is no {noun} {name!r}",
            why=f"known: {', '.join(names)}" if names else f"the file has no {noun} at all",
            do=f"did you mean {close!r}?" if close else f"name one of these, or add the {noun}",
        )

    def stop(self) -> None:
        """Raise one error with all problems, if there are any."""
        if self.found:
            raise JobError.of(self.found)


def _unwrapped(annotation: Any) -> Any:  # noqa: ANN401 - annotations have no common type
    while True:
        origin = get_origin(annotation)
        if origin is Annotated:
            annotation = get_args(annotation)[0]
        elif origin in (types.UnionType, Union):
            rest = [arg for arg in get_args(annotation) if arg is not type(None)]
            if len(rest) != 1:
                return annotation
            annotation = rest[0]
        else:
            return annotation


def keys_at(model: type[BaseModel], path: Path) -> tuple[str, ...]:
    """Return the keys that a table at a path may have.

    Parameters
    ----------
    model
        Model of the whole file.
    path
        Path of the table.

    Returns
    -------
    tuple of str
        Its keys; empty where any key goes.
    """
    annotation: Any = model
    for part in path:
        annotation = _unwrapped(annotation)
        origin = get_origin(annotation)
        if origin in (list, tuple) or origin is dict:
            args = get_args(annotation)
            annotation = args[1] if origin is dict else args[0]
        elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
            field = annotation.model_fields.get(str(part))
            annotation = field.annotation if field else None
        elif hasattr(annotation, "__dataclass_fields__"):
            annotation = annotation.__dataclass_fields__[part].type
        else:
            return ()
    annotation = _unwrapped(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return tuple(annotation.model_fields)
    return tuple(getattr(annotation, "__dataclass_fields__", ()))


def _unknown_key(problems: Problems, path: Path, known: tuple[str, ...]) -> None:
    name = str(path[-1])
    close = suggestion(name, known)
    table = path_text(path[:-1]) or "the file"
    problems.add(
        path,
        f'{table}: unknown key "{name}"' + (f' (did you mean "{close}"?)' if close else ""),
        why=f"keys here are {', '.join(known)}",
        do=f'write "{close}"' if close else "take the key out, or put it into a note",
    )


_WANTED: Final[Mapping[str, str]] = {
    "bool_type": "true or false",
    "dict_type": "a table with keys",
    "model_type": "a table with keys",
    "dataclass_type": "a table with keys",
    "float_type": "a number",
    "int_type": "a whole number",
    "list_type": "a list in [ ]",
    "tuple_type": "a list in [ ]",
    "string_type": 'a text in " "',
    "finite_number": "a finite number",
}


def _describe(error: ErrorDetails) -> tuple[str, str, str]:
    """Word one error of pydantic as what, why and do."""
    kind, value, context = error["type"], shown(error.get("input")), error.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, SoffitError):
        problem = cause.problems[0]
        return problem.what, problem.why, problem.do
    if kind in _WANTED:
        wanted = _WANTED[kind]
        return f"{value} is not {wanted}", f"this key takes {wanted}", f"write {wanted}"
    if kind == "literal_error":
        allowed = str(context.get("expected", ""))
        return f"{value} is not possible here", f"allowed: {allowed}", "write one of these"
    if kind in ("too_short", "too_long"):
        least, most = context.get("min_length"), context.get("max_length")
        need = f"at least {least}" if kind == "too_short" else f"at most {most}"
        have = context.get("actual_length")
        return f"{have} items in a list", f"this list has {need}", "add or take out items"
    if kind == "string_pattern_mismatch":
        why = "keys are letters, digits, - and _, at most 60, and are used in paths and labels"
        return f"{value} cannot be a key", why, "write a short key; put the full name in label"
    words = error["msg"]
    return f"{value} is not possible here", words[:1].lower() + words[1:], "change the value"


def add_validation(
    problems: Problems, error: ValidationError, model: type[BaseModel], *, under: Path = ()
) -> None:
    """Add everything that pydantic found.

    Parameters
    ----------
    problems
        Where to collect.
    error
        What pydantic raised.
    model
        Model of the whole file.
    under
        Leading part of the paths that people do not see.
    """
    for detail in error.errors():
        loc: Path = tuple(detail["loc"])
        is_key = bool(loc) and loc[-1] == "[key]"
        if is_key:
            loc = loc[:-1]
        path = loc[len(under) :]
        if detail["type"] in ("extra_forbidden", "unexpected_keyword_argument"):
            _unknown_key(problems, path, keys_at(model, loc[:-1]))
        elif detail["type"] == "missing":
            table = path_text(path[:-1]) or "the file"
            name = str(path[-1])
            problems.add(
                path[:-1],
                f'{table}: "{name}" is missing',
                why=f"{name} has no default",
                do=f"add {name}",
            )
        else:
            what, why, do = _describe(detail)
            label = path_text(path)
            problems.add(path, f"{label}: {what}" if label else what, why=why, do=do)
