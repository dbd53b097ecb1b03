"""The program of a controller, as the OpenAPI document describes it.

The answers themselves are written out when plans are published (see
:mod:`service.operations.evening.publish_programs`); a test holds them against these models.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.api.schemas.facts import Out


class ChannelProgramOut(Out):
    """What one channel is to do."""

    channel: int = Field(description="Number of the output on the controller.")
    mode: str = Field(
        description="`run`: open as listed; `hold`: stay closed. New words may come: stay closed on"
        " one that is not known."
    )
    daily_maximum_min: int = Field(
        description="Most minutes that the channel may be open on one local day, whatever else is"
        " said, min."
    )
    openings: list[tuple[int, str, int]] = Field(
        description="Openings in order of time, each `[start in seconds since 1970-01-01T00:00Z,"
        " the same on the local clock as day of the month and time (DDTHH:MM), minutes]`."
    )


class FallbackOut(Out):
    """What a controller does once its program has run out and no new one can be had."""

    policy: str = Field(
        description="`fallback`: run the openings below daily; `stop`: run nothing."
    )
    days: int = Field(
        description="Days for which the fallback may run; then stop and call for help."
    )
    openings: list[tuple[int, str, int]] = Field(
        description="Each day's openings, each `[channel, local time HH:MM, minutes]`."
    )


class ProgramOut(Out):
    """A controller's program; no opening is without a length."""

    format: Literal[1] = Field(description="Version of this form; a device refuses another one.")
    controller_id: str = Field(description="`farm.controller`, unique everywhere.")
    program_id: str = Field(description="Name of this very version, to report with.")
    version: int = Field(description="Rises with each change of the program.")
    issued_epoch_s: int = Field(description="When it was issued, seconds since 1970-01-01T00:00Z.")
    valid_from_epoch_s: int = Field(description="Not to be run before, seconds since 1970.")
    valid_until_epoch_s: int = Field(description="Not to be run from then on, seconds since 1970.")
    zone: str = Field(description="IANA time zone of the local times.")
    channels: list[ChannelProgramOut]
    fallback: FallbackOut


class ProgramAnswerOut(Out):
    """A program with what a device needs to trust it."""

    server_time_epoch_s: int = Field(description="The server's clock, seconds since 1970.")
    crc32: str = Field(
        description="CRC-32 (ISO-HDLC) of the bytes of the value of `program`, from its first brace"
        " to its last, as 8 hexadecimal digits."
    )
    program: ProgramOut
