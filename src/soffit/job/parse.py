"""From the text of job.toml to the survey and its hash."""

import hashlib
import json
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from soffit.errors import JobError
from soffit.job.build import build_survey
from soffit.job.locate import Locator
from soffit.job.migrate import migrated
from soffit.job.plain_text import check_texts, folded
from soffit.job.problems import Problems, add_validation
from soffit.job.schema import JobFile
from soffit.job.toml_text import parse_toml
from soffit.model.catalogue import Catalogue
from soffit.model.decisions import Survey

JOB_FILE = "job.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedJob:
    """What job.toml says.

    Parameters
    ----------
    survey
        In records.
    revision
        Its revision.
    job_hash
        Hash of what it means: comments, order of keys, line ends and units do not change it.
    """

    survey: Survey
    revision: int
    job_hash: str


def canonical(value: Any) -> Any:  # noqa: ANN401 - any value of a parsed file
    """Return a value with floats rounded to 1e-9, so that units do not change a hash.

    Parameters
    ----------
    value
        Numbers, texts, lists and tables.
    """
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float):
        rounded = round(float(value), 9)
        return rounded if rounded else 0.0
    if isinstance(value, dict):
        return {str(key): canonical(item) for key, item in value.items()}
    return [canonical(item) for item in value]


def hash_of(file: JobFile, own_catalogue: Catalogue | None) -> str:
    """Return the hash of a parsed job.

    Parameters
    ----------
    file
        What job.toml says; format and revision are left out.
    own_catalogue
        The job's own catalogue file, which changes designs as much as the job does.

    Returns
    -------
    str
        32 hexadecimal digits.
    """
    content = file.model_dump(exclude={"format", "revision"})
    if own_catalogue is not None:
        from dataclasses import asdict  # noqa: PLC0415 - only jobs with a catalogue need it

        content["catalogue"] = asdict(own_catalogue)
    _leave_out_later_keys(content)
    text = json.dumps(canonical(content), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _leave_out_later_keys(content: dict[str, Any]) -> None:
    """Take out unused keys that came after format 1, so that older designs are not out of date."""
    if not content["materials"]:
        del content["materials"]
    for room in content["rooms"].values():
        for surface in room["surfaces"]:
            if surface["count"] is None:
                del surface["count"]
    for part in content.get("catalogue", {}).get("hardware_types", ()):
        if not part["ways"]:
            del part["ways"]


def parse_job(
    text: str, catalogue: Catalogue, *, own_catalogue: Catalogue | None = None, name: str = JOB_FILE
) -> ParsedJob:
    """Read the text of job.toml.

    Parameters
    ----------
    text
        The text.
    catalogue
        Types it may refer to, the job's own included.
    own_catalogue
        The job's own types alone, for the hash.
    name
        Name of the file as people see it.

    Returns
    -------
    ParsedJob
        Survey, revision and hash.

    Raises
    ------
    JobError
        With every problem of the file.
    """
    raw, changed = migrated(parse_toml(name, text), name)
    problems = Problems(Locator(name, "" if changed else text))
    raw = folded(raw)
    check_texts(problems, raw)
    try:
        file = JobFile.model_validate(raw)
    except ValidationError as error:
        add_validation(problems, error, JobFile)
        _build_rest(raw, error, catalogue, problems)
        raise JobError.of(problems.found) from None
    survey = build_survey(file, catalogue, problems)
    problems.stop()
    if survey is None:
        msg = "a survey without problems was not built"
        raise AssertionError(msg)
    return ParsedJob(survey=survey, revision=file.revision, job_hash=hash_of(file, own_catalogue))


def _build_rest(
    raw: dict[str, Any], error: ValidationError, catalogue: Catalogue, problems: Problems
) -> None:
    """Check what is readable too, so that one reading reports everything.

    Values that could not be read are taken out; whatever then only fails because it is missing
    has been reported already and is left out.
    """
    pruned = json.loads(json.dumps(raw, default=str))
    for detail in error.errors():
        _prune(pruned, tuple(part for part in detail["loc"] if part != "[key]"))
    try:
        file = JobFile.model_validate(pruned)
    except (ValidationError, RecursionError):
        return
    rest = Problems(problems.locator)
    build_survey(file, catalogue, rest)
    bad = {problem.where for problem in problems.found}
    for problem in rest.found:
        related = any(
            where.split("  ")[-1].startswith(problem.where.split("  ")[-1]) for where in bad
        )
        if not related:
            problems.found.append(problem)


def _prune(tree: Any, path: tuple[Any, ...]) -> None:  # noqa: ANN401 - any value of a file
    """Take the value at a path out; if it is an item of a list, the list goes."""
    nodes = [tree]
    for part in path[:-1]:
        try:
            nodes.append(nodes[-1][part])
        except (KeyError, IndexError, TypeError):
            break
    for node, part in zip(reversed(nodes), reversed(path[: len(nodes)]), strict=True):
        if isinstance(node, dict):
            node.pop(part, None)
            return
