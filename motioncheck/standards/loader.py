"""Finding and reading standards: those in the package and those in a user's own folder."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

from pydantic import ValidationError

from motioncheck.errors import StandardError
from motioncheck.standards.schema import Standard
from motioncheck.wording import find_alike, join_words


@dataclass(frozen=True, slots=True)
class LoadedStandard:
    """A valid standard with the place it came from and the SHA-256 of its file."""

    standard: Standard
    path: Path
    source_hash: str
    own: bool = False


def package_folder() -> Path:
    """Return the folder of the standards that come with the program."""
    return Path(str(resources.files("motioncheck") / "movements"))


def load_standard_file(path: Path, *, own: bool = False) -> LoadedStandard:
    """Read and validate one file.

    Raises
    ------
    StandardError
        If the file cannot be read, is not TOML, or breaks the schema. The message names file,
        key and what is allowed, for every problem at once.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise StandardError(
            f"Expected a standard at {path}, found none that can be read ({error.strerror}).",
            hint="Check the path, or run `motioncheck movements` for what is there.",
        ) from error
    return LoadedStandard(
        _parse(content, path.name), path, hashlib.sha256(content).hexdigest(), own
    )


# A standard cannot be changed, so one object serves all who read the same content: a batch reads
# them again for every clip.
@lru_cache(maxsize=256)
def _parse(content: bytes, name: str) -> Standard:
    try:
        # Some editors put a byte order mark first.
        data = tomllib.loads(content.decode("utf-8-sig"))
        return Standard.model_validate(data)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise StandardError(
            f"{name}: expected a TOML file, found a fault: {error}.",
            hint="Mend the line named and run `motioncheck movements validate FILE`.",
        ) from error
    except ValidationError as error:
        raise StandardError(
            f"{name} is not a valid standard: " + "; ".join(describe_problems(error)) + ".",
            hint="Mend these keys and run `motioncheck movements validate FILE`.",
        ) from error


SPLIT_KINDS = ("cycle", "hold", "stages")
MAX_FOUND = 60


def describe_problems(error: ValidationError) -> list[str]:
    """Turn a validation error into one short sentence a problem: key, what is allowed, found."""
    sentences = []
    for problem in error.errors(include_url=False, include_context=False):
        # The kind of split stands in the path only because the schema differs by it.
        where = [p for i, p in enumerate(problem["loc"]) if not (i == 1 and p in SPLIT_KINDS)]
        key = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in where)
        message = _describe_fault(str(problem["type"]), problem["msg"], key, problem["input"])
        sentences.append(f"{key or 'file'}: {message[:1].lower()}{message[1:]}")
    return sentences


def _describe_fault(kind: str, message: str, key: str, found: object) -> str:
    """Return what is allowed and what was found instead."""
    if kind == "value_error":
        return message.removeprefix("Value error, ")
    if kind == "extra_forbidden":
        return "unknown key; remove it or correct its spelling"
    if kind == "missing":
        return "missing; every standard needs it"
    if kind.startswith("union_tag"):
        kinds = join_words([repr(name) for name in SPLIT_KINDS], "or")
        message = f"kind should be {kinds}"
        found = found.get("kind", "none") if isinstance(found, Mapping) else found
    if kind == "string_pattern_mismatch":
        dash = "_" if key.startswith("check") else "-"
        message = (
            f"the pattern of an id is 2 to 40 small letters, digits and {dash!r}, a letter first"
        )
    shown = repr(found)
    is_short = isinstance(found, (str, int, float)) and len(shown) <= MAX_FOUND
    return message + (f", found {shown}" if is_short else "")


def load_standards(own_folder: Path | None = None) -> dict[str, LoadedStandard]:
    """Read all standards, the user's own folder overriding the package by id.

    Parameters
    ----------
    own_folder : Path, optional
        Folder with ``*.toml`` files of the user.

    Raises
    ------
    StandardError
        If the folder does not exist or a file in it is invalid, or two of its files share an id.
    """
    found = {s.standard.id: s for s in _read_all(_files(package_folder()), own=False)}
    if own_folder is not None:
        if not own_folder.is_dir():
            raise StandardError(
                f"Expected a folder of standards at {own_folder}, found none.",
                hint="Check --standards or MOTIONCHECK_STANDARDS.",
            )
        own: dict[str, LoadedStandard] = {}
        for loaded in _read_all(_files(own_folder), own=True):
            if loaded.standard.id in own:
                raise StandardError(
                    f"{loaded.path.name} and {own[loaded.standard.id].path.name} both define "
                    f"{loaded.standard.id!r}.",
                    hint="Give one of them another id.",
                )
            own[loaded.standard.id] = loaded
        found |= own
    return dict(sorted(found.items()))


def get_standard(movement: str, own_folder: Path | None = None) -> LoadedStandard:
    """Return one standard by id.

    Raises
    ------
    StandardError
        If there is no such movement; the message lists those there are, the hint what may be meant.
    """
    standards = load_standards(own_folder)
    require_movement(movement, standards)
    return standards[movement]


def require_movement(movement: str, known: Collection[str]) -> None:
    """Raise `StandardError` for a movement that is not among the known ids.

    The message lists those there are, the hint what may be meant.
    """
    if movement in known:
        return
    alike = find_alike(movement, known)
    meant = f"Did you mean {join_words(alike, 'or')}? " if alike else ""
    raise StandardError(
        f"Expected one of the movements {', '.join(known)}; found {movement!r}.",
        hint=f"{meant}Run `motioncheck movements` for what each of them is.",
    )


def find_standard(source_hash: str, own_folder: Path | None = None) -> Standard | None:
    """Return the standard whose file has a content hash; None when it is not at hand (any more).

    A folder that is not there is passed over: the standard may be one of the package.
    """
    folders = [package_folder()]
    if own_folder is not None and own_folder.is_dir():
        folders.append(own_folder)
    for path in (path for folder in folders for path in _files(folder)):
        if hashlib.sha256(path.read_bytes()).hexdigest() == source_hash:
            return load_standard_file(path).standard
    return None


def _files(folder: Path) -> list[Path]:
    """Return the files of a folder; hidden ones are what editors and other systems leave there."""
    return sorted(path for path in folder.glob("*.toml") if not path.name.startswith("."))


def _read_all(files: Iterable[Path], *, own: bool) -> list[LoadedStandard]:
    return [load_standard_file(path, own=own) for path in files]
