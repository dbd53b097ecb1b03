"""The program of a controller, as the OpenAPI document describes it.

The answers themselves are rendered when plans are published (see
:mod:`service.operations.evening.publish_programs`); a test checks them against these models.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.api.schemas.facts import Out


class ChannelProgramOut(Out):
    """Instructions for one channel."""

    channel: int = Field(description="Number of the output on the controller.")
    mode: str = Field(
        description="`run`: open as listed; `hold`: stay closed. New values may be added: stay "
        "closed on an unknown one."
    )
    daily_maximum_min: int = Field(
        description="Upper limit on the minutes the channel may be open on one local day, "
        "whatever else applies, min: the farm's own, or else a quarter more than the longest day "
        "that plans and fallback ask for."
    )
    openings: list[tuple[int, str, int]] = Field(
        description="Openings by start time, each `[start in seconds since 1970-01-01T00:00Z, the "
        "same on the local clock as day of the month and time (DDTHH:MM), minutes]`."
    )


class FallbackOut(Out):
    """What a controller does once its program has expired and it cannot get a new one."""

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

    format: Literal[1] = Field(
        description="Version of this format; a device must refuse any other."
    )
    controller_id: str = Field(description="Full controller id, `farm.controller`.")
    program_id: str = Field(description="Id of this version, for reports.")
    version: int = Field(description="Rises with each change of the program.")
    issued_epoch_s: int = Field(description="When it was issued, seconds since 1970-01-01T00:00Z.")
    valid_from_epoch_s: int = Field(description="Do not run before, seconds since 1970.")
    valid_until_epoch_s: int = Field(description="Do not run from then on, seconds since 1970.")
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
