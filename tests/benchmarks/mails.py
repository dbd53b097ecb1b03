"""Time to write evening mails of fourteen blocks: ``python -m tests.benchmarks.mails``.

Forty readers of one farm, who share what can be shared, and one reader each of forty farms, who
share nothing. Processor time, the best of five.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from service.delivery.message import MailIdentity, compose
from service.records.letters import EveningLetter
from tests.letters import STAMP, block_line, evening, pulse, reader

MAIL_COUNT, BLOCK_COUNT, TIMES = 40, 14, 5
IDENTITY = MailIdentity(
    sender_address="plans@mail.example.org",
    sender_name="Plans",
    domain="mail.example.org",
    reply_address="",
    public_url="https://farm.example.org",
)


def _farm(number: int, turn: int) -> EveningLetter:
    """A farm whose names nobody else has, so that nothing is left from another."""
    return evening(
        *(
            block_line(f"F{turn}-{number} {n}", pulse("04:00", 60 + n), pulse("09:00", 30 + n))
            for n in range(BLOCK_COUNT)
        ),
        farm_name=f"Farm {turn}-{number}",
    )


def _milliseconds_each(letters: Sequence[EveningLetter]) -> float:
    """Time of one mail; the readers of a list read Spanish and English in turn."""
    people = [replace(reader(), language=("en", "es")[n % 2]) for n in range(len(letters))]
    started = time.process_time()
    for letter, person in zip(letters, people, strict=True):
        compose(letter, person, STAMP, identity=IDENTITY)
    return (time.process_time() - started) * 1000.0 / len(letters)


def main() -> None:
    """Print both."""
    _milliseconds_each([_farm(0, -1)] * 2)  # templates, catalogues and the font are read once
    one = min(_milliseconds_each([_farm(0, turn)] * MAIL_COUNT) for turn in range(TIMES))
    many = min(
        _milliseconds_each([_farm(n, TIMES + turn) for n in range(MAIL_COUNT)])
        for turn in range(TIMES)
    )
    print(f"{MAIL_COUNT} mails of {BLOCK_COUNT} blocks, ms each")
    print(f"  readers of one farm   {one:6.1f}")
    print(f"  readers of as many    {many:6.1f}")


if __name__ == "__main__":
    main()
