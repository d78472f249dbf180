# SPDX-License-Identifier: MIT
"""Readings in from a file and out to one: CSV, SenML, Parquet."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from api.kitchen import open_kitchen, wall_ms
from api.times import format_ms, parse_ms
from collector.errors import CurdwrightError, FrameError, RecordError, UnknownRecordError
from collector.frames.senml import parse_pack
from collector.frames.senml_pack import format_pack
from collector.readings import Quality, Reading, TimeSource
from collector.store.protocol import Appended, Stretch

_AT_ONCE = 5000
_QUALITY = {quality.word: quality for quality in Quality}


def import_file(
    file: Path,
    data_dir: Path,
    *,
    series: str | None,
    unit: str | None,
    progress: Callable[[int], Any],
) -> Appended:
    """Bring a file's readings into the store; doing it twice changes nothing.

    Args:
        file: CSV with a header (time, value; also series, unit, quality), or SenML JSON.
        data_dir: The data folder.
        series: The series, where the file has no such column.
        unit: The unit, likewise.
        progress: Told how many bytes were read since the last time.

    Returns:
        What became of the readings.

    Raises:
        RecordError: A line can't be read; nothing of the file is stored.
        FrameError: A SenML pack breaks a rule; nothing of it is stored.
    """
    if file.suffix.lower() == ".csv":
        readings = list(_csv_readings(file, series, unit, progress))
    else:
        text = file.read_bytes()
        try:
            readings = parse_pack(text, now_ms=wall_ms())
        except FrameError as error:
            raise FrameError(
                error.what, where=f"{file} {error.where}".strip(), do=error.do
            ) from error
        progress(len(text))
    kitchen = open_kitchen(data_dir)
    try:
        parts = [
            kitchen.readings.append(readings[i : i + _AT_ONCE])
            for i in range(0, len(readings), _AT_ONCE)
        ]
    finally:
        kitchen.close()
    return Appended(
        stored=sum(p.stored for p in parts),
        repeated=sum(p.repeated for p in parts),
        suspect=sum(p.suspect for p in parts),
        bad=sum(p.bad for p in parts),
        conflicts=sum(p.conflicts for p in parts),
        last_arrival=max((p.last_arrival for p in parts), default=0),
    )


def _csv_readings(
    file: Path, series: str | None, unit: str | None, progress: Callable[[int], Any]
) -> Iterator[Reading]:
    arrival_ms = wall_ms()
    with file.open(newline="", encoding="utf-8-sig") as opened:
        reader = csv.DictReader(opened)
        columns = set(reader.fieldnames or ())
        missing = {"time", "value"} - columns
        missing |= {"series"} if series is None and "series" not in columns else set()
        missing |= {"unit"} if unit is None and "unit" not in columns else set()
        if missing:
            raise RecordError(
                f"The header lacks {', '.join(sorted(missing))}.",
                where=str(file),
                do="Add the columns, or give --series and --unit.",
            )
        for row in reader:
            progress(sum(len(str(v)) + 1 for v in row.values() if v is not None))
            try:
                yield _csv_reading(row, series, unit, arrival_ms)
            except (ValueError, CurdwrightError) as error:
                raise RecordError(
                    f"Line {reader.line_num} can't be read: {error}",
                    where=str(file),
                    do="Mend the line; nothing of the file was stored.",
                ) from error


def _csv_reading(
    row: dict[str, str], series: str | None, unit: str | None, arrival_ms: int
) -> Reading:
    quality = _QUALITY[row["quality"]] if row.get("quality") else Quality.GOOD
    value = float(row["value"]) if row["value"].strip() else None
    if value is None:
        quality = Quality.BAD
    elif value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f"{row['value']} is not a finite number")
    return Reading(
        series=row.get("series") or series or "",
        value=value,
        unit=row.get("unit") or unit or "",
        time_ms=parse_ms(row["time"]),
        time_source=TimeSource.INSTRUMENT,
        arrival_ms=arrival_ms,
        quality=quality,
        reason="" if quality is Quality.GOOD else f"imported as {quality.word}",
    )


def export_file(
    data_dir: Path,
    series: Sequence[str],
    *,
    span: tuple[str | None, str | None],
    form: str | None,
    output: Path,
) -> int:
    """Write readings as they were said.

    Args:
        data_dir: The data folder.
        series: Which; all if empty.
        span: First time and end (RFC 3339), None for open.
        form: "csv", "senml" or "parquet"; None to tell by the file's ending.
        output: The file; "-" for standard output.

    Returns:
        How many readings were written.

    Raises:
        UnknownRecordError: No such series.
    """
    chosen_form = form or {".senml": "senml", ".json": "senml", ".parquet": "parquet"}.get(
        output.suffix.lower(), "csv"
    )
    from_ms, to_ms = (parse_ms(text) if text else None for text in span)
    kitchen = open_kitchen(data_dir)
    try:
        known = [info.name for info in kitchen.readings.series()]
        for name in series:
            if name not in known:
                raise UnknownRecordError(
                    f"There is no series {name!r}.", do=f"There are: {', '.join(known) or 'none'}."
                )
        stretches = [kitchen.readings.stretch(name, from_ms, to_ms) for name in series or known]
    finally:
        kitchen.close()
    write = {"csv": _write_csv, "senml": _write_senml, "parquet": _write_parquet}[chosen_form]
    if str(output) == "-":
        write(stretches, sys.stdout.buffer)
        sys.stdout.flush()
    else:
        with output.open("wb") as opened:
            write(stretches, opened)
    return sum(len(stretch.time_ms) for stretch in stretches)


def _write_csv(stretches: Sequence[Stretch], out: BinaryIO) -> None:
    text = io.TextIOWrapper(out, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(text)
    writer.writerow(["series", "time", "value", "unit", "quality"])
    for stretch in stretches:
        for time_ms, value, quality in zip(
            stretch.time_ms.tolist(), stretch.value.tolist(), stretch.quality.tolist(), strict=True
        ):
            shown = "" if value != value else repr(value)
            writer.writerow(
                [stretch.series, format_ms(time_ms), shown, stretch.unit, Quality(quality).word]
            )
    text.detach()


def _write_senml(stretches: Sequence[Stretch], out: BinaryIO) -> None:
    readings = [
        Reading(
            series=stretch.series,
            value=value,
            unit=stretch.unit,
            time_ms=time_ms,
            time_source=TimeSource.INSTRUMENT,
            arrival_ms=time_ms,
        )
        for stretch in stretches
        for time_ms, value in zip(stretch.time_ms.tolist(), stretch.value.tolist(), strict=True)
        if value == value
    ]
    if not readings:
        raise RecordError("There is no reading to write.", do="Widen --from and --to.")
    out.write(format_pack(readings))


def _write_parquet(stretches: Sequence[Stretch], out: BinaryIO) -> None:
    from api.tables_out import write_parquet

    rows = [
        (s.series, int(t), None if v != v else float(v), s.unit, Quality(int(q)).word)
        for s in stretches
        for t, v, q in zip(s.time_ms, s.value, s.quality, strict=True)
    ]
    out.write(write_parquet(rows))
