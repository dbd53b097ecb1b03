"""The three weather services on this machine's loopback, with invented weather and faults to order.

A real HTTP server, so that timeouts, resets and slow answers are real too. Tests use
:class:`FakeProviders`; a contributor runs ``python -m tests.weather_sources.fake_providers`` and
points the service at it (README.md in this folder says how). All weather is invented.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import signal
import socket
import struct
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self
from urllib.parse import parse_qsl, urlsplit
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tests.weather_sources.fake_ensemble import ENSEMBLE_PATH, ensemble_answer

Hours = NDArray[np.int64]
"""Whole UTC hours, as seconds since 1970."""
Weather = Callable[[float, float, Hours], Mapping[str, NDArray[np.float64]]]
HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class Reply:
    """What goes over the wire, and how."""

    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    drip_s: float = 0.0
    """Above 0: a byte at a time with such pauses, never to the end."""
    reset: bool = False
    """Half an answer, then the connection is torn down."""


Fault = Callable[[Reply], Reply]


def json_reply(content: object, *, status: int = 200, media: str = "application/json") -> Reply:
    return Reply(status, {"Content-Type": media}, json.dumps(content).encode())


# --- faults ----------------------------------------------------------------------------------


def status(code: int, *, remark: str = "", **headers: str) -> Fault:
    """A refusal with the service's words for it."""
    reply = json_reply({"error": True, "reason": remark}, status=code)
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return lambda _: replace(reply, headers={**reply.headers, **named})


def problem(code: int, title: str) -> Fault:
    """A problem document, as the grid service sends for a cell that it cannot build."""
    return lambda _: json_reply(
        {"correlationId": "invented", "title": title, "status": code},
        status=code,
        media="application/problem+json",
    )


def html(code: int) -> Fault:
    """A page from a gateway."""
    return lambda _: Reply(code, {"Content-Type": "text/html"}, b"<html>Bad gateway</html>")


def redirect(target: str) -> Fault:
    return lambda _: Reply(301, {"Location": target}, b"")


def edited(change: Callable[[Any], Any]) -> Fault:
    """The true answer with something changed in its JSON; a change may also work in place."""

    def fault(reply: Reply) -> Reply:
        content = json.loads(reply.body)
        changed = change(content)
        return replace(reply, body=json.dumps(content if changed is None else changed).encode())

    return fault


def broken_json(reply: Reply) -> Reply:
    return replace(reply, body=reply.body[: len(reply.body) // 2])


def text_tail(reply: Reply) -> Reply:
    return replace(reply, body=reply.body + b"\nUnexpected error while streaming data")


def nan_literal(reply: Reply) -> Reply:
    return replace(reply, body=reply.body.replace(b": [", b": [NaN, ", 1))


def three_megabytes(reply: Reply) -> Reply:
    return replace(reply, body=b" " * 3_000_000 + reply.body)


def drip(reply: Reply) -> Reply:
    return replace(reply, drip_s=0.02)


def silence(reply: Reply) -> Reply:
    """Headers, and then nothing."""
    return replace(reply, drip_s=3600.0)


def reset(reply: Reply) -> Reply:
    return replace(reply, reset=True)


NAMED_FAULTS: Mapping[str, Fault] = {
    "429": status(
        429, remark="Minutely API request limit exceeded. Please try again in one minute."
    ),
    "429-retry-after": status(429, Retry_After="120"),
    "500": problem(500, "Unexpected Problem"),
    "502-html": html(502),
    "503-expired": problem(503, "Forecast Grid Expired"),
    "broken-json": broken_json,
    "drip": drip,
    "nan": nan_literal,
    "reset": reset,
    "text-tail": text_tail,
    "too-large": three_megabytes,
}
PROVIDER_PATHS: Mapping[str, str] = {
    "open-meteo": "/v1/forecast",
    "nasa-power": "/api/temporal/daily/point",
    "nws-grid": "/gridpoints/",
    "nws-points": "/points/",
    "open-meteo-ensemble": ENSEMBLE_PATH,
}


# --- weather ---------------------------------------------------------------------------------


def invented_weather(
    latitude_deg: float, longitude_deg: float, hours: Hours
) -> dict[str, NDArray[np.float64]]:
    """A warm, ordinary summer that depends on nothing but place and time."""
    solar = (hours / HOUR_S + longitude_deg / 15.0) % 24.0
    day = np.floor((hours / HOUR_S + longitude_deg / 15.0) / 24.0)
    mean = 34.0 - 0.35 * abs(latitude_deg) + 2.0 * np.sin(day / 3.0)
    air = mean + 6.0 * np.sin((solar - 9.0) / 24.0 * 2.0 * np.pi)
    dew = mean - 7.0 + 0.5 * np.sin(solar / 24.0 * 2.0 * np.pi)
    humidity = 100.0 * np.exp(17.27 * dew / (dew + 237.3) - 17.27 * air / (air + 237.3))
    # Mean of the hour before the stamp.
    sun = np.maximum(np.sin((solar - 0.5 - 6.0) / 12.0 * np.pi), 0.0)
    wet = (day % 4 == 0) & (solar >= 15.0) & (solar < 19.0)
    return {
        "temperature_2m": np.round(air, 1),
        "dew_point_2m": np.round(dew, 1),
        "relative_humidity_2m": np.minimum(humidity, 100.0),
        "wind_speed_10m": np.round(2.5 + np.sin(solar / 24.0 * 2.0 * np.pi), 2),
        "shortwave_radiation": np.round(850.0 * sun, 1),
        "precipitation": np.where(wet, 1.5, 0.0),
        "precipitation_probability": np.where(wet, 70.0, 10.0),
    }


HOURLY_UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "dew_point_2m": "°C",
    "wind_speed_10m": "m/s",
    "shortwave_radiation": "W/m²",
    "precipitation": "mm",
    "precipitation_probability": "%",
}
DAILY_VALUES: Mapping[str, tuple[str, str, str]] = {
    "temperature_2m_max": ("temperature_2m", "max", "°C"),
    "temperature_2m_min": ("temperature_2m", "min", "°C"),
    "dew_point_2m_mean": ("dew_point_2m", "mean", "°C"),
    "relative_humidity_2m_max": ("relative_humidity_2m", "max", "%"),
    "relative_humidity_2m_min": ("relative_humidity_2m", "min", "%"),
    "relative_humidity_2m_mean": ("relative_humidity_2m", "mean", "%"),
    "wind_speed_10m_mean": ("wind_speed_10m", "mean", "m/s"),
    "shortwave_radiation_sum": ("shortwave_radiation", "sum", "MJ/m²"),
    "precipitation_sum": ("precipitation", "sum", "mm"),
    "precipitation_probability_max": ("precipitation_probability", "max", "%"),
}
NASA_UNITS = {
    "T2M_MAX": "C",
    "T2M_MIN": "C",
    "RH2M": "%",
    "T2MDEW": "C",
    "WS2M": "m/s",
    "ALLSKY_SFC_SW_DWN": "MJ/m^2/day",
    "PRECTOTCORR": "mm/day",
}


@dataclass(frozen=True, slots=True)
class SeenRequest:
    path: str
    query: Mapping[str, str]
    headers: Mapping[str, str]


@dataclass(slots=True)
class _Order:
    path: str
    fault: Fault
    times: int | None


class FakeProviders:
    """The server; a context manager. ``now`` is the time that the services believe it is."""

    def __init__(
        self, *, now: datetime | None = None, port: int = 0, weather: Weather = invented_weather
    ) -> None:
        self.now = now
        self.weather = weather
        self.requests: list[SeenRequest] = []
        self._orders: list[_Order] = []
        self.closing = threading.Event()
        handler = type("Handler", (_Handler,), {"providers": self})
        self._server = _Server(("127.0.0.1", port), handler)
        self.base_url = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,))

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.closing.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()
        assert self._server.own_errors == []

    def order(self, path: str, fault: Fault, *, times: int | None = None) -> None:
        """Let requests whose path holds these words go wrong, so many times or until cleared."""
        self._orders.append(_Order(path, fault, times))

    def clear(self) -> None:
        """All is well again, and nothing was asked yet."""
        self._orders.clear()
        self.requests.clear()

    def count(self, path: str) -> int:
        """How many requests came whose path holds these words."""
        return sum(path in request.path for request in self.requests)

    def reply(self, request: SeenRequest) -> Reply:
        self.requests.append(request)
        reply = self._true_reply(request)
        for order in self._orders:
            if order.path in request.path and order.times != 0:
                if order.times is not None:
                    order.times -= 1
                return order.fault(reply)
        return reply

    def _true_reply(self, request: SeenRequest) -> Reply:
        now = self.now or datetime.now(UTC)
        if request.path == PROVIDER_PATHS["open-meteo"]:
            return self._open_meteo(request.query, now)
        if request.path == ENSEMBLE_PATH:
            body = ensemble_answer(request.query, now, self.weather)
            if body is None:
                return json_reply({"error": True, "reason": "Cannot initialize"}, status=400)
            return Reply(200, {"Content-Type": "application/json"}, body)
        if request.path == PROVIDER_PATHS["nasa-power"]:
            return self._nasa_power(request.query, now)
        point = re.fullmatch(r"/points/(-?[0-9.]+),(-?[0-9.]+)", request.path)
        cell = re.fullmatch(r"/gridpoints/JAN/(\d+),(\d+)", request.path)
        if (point or cell) and "User-Agent" not in request.headers:
            return json_reply({"title": "Forbidden"}, status=403)
        if (point or cell) and request.query:
            return json_reply({"title": "Bad Request"}, status=400)
        if point:
            latitude, longitude = float(point[1]), float(point[2])
            return json_reply(
                {
                    "properties": {
                        "gridId": "JAN",
                        "gridX": math.floor(longitude + 180),
                        "gridY": math.floor(latitude),
                        "forecastGridData": "http://203.0.113.9/must/not/be/fetched",
                    }
                },
                media="application/geo+json",
            )
        if cell:
            return self._grid(int(cell[2]) + 0.5, int(cell[1]) - 179.5, request.headers, now)
        return json_reply({"title": "Not Found"}, status=404)

    # --- Open-Meteo ----------------------------------------------------------------------

    def _open_meteo(self, query: Mapping[str, str], now: datetime) -> Reply:
        latitudes = [float(each) for each in query["latitude"].split(",")]
        longitudes = [float(each) for each in query["longitude"].split(",")]
        zones = (query.get("timezone", "GMT").split(",") * len(latitudes))[: len(latitudes)]
        kind = "hourly" if "hourly" in query else "daily"
        names = query[kind].split(",")
        known = HOURLY_UNITS if kind == "hourly" else DAILY_VALUES
        if not len(latitudes) == len(longitudes) == len(query["elevation"].split(",")) or not set(
            names
        ) <= set(known):
            return json_reply({"error": True, "reason": "Cannot initialize"}, status=400)
        entries = []
        for index, (latitude, longitude, zone) in enumerate(
            zip(latitudes, longitudes, zones, strict=True)
        ):
            # One offset, that of today, for the whole answer: as the real service does.
            offset = now.astimezone(ZoneInfo(zone)).utcoffset() or timedelta(0)
            first = (now + offset).date() - timedelta(days=int(query["past_days"]))
            days = int(query["past_days"]) + int(query["forecast_days"])
            begin = round(datetime(first.year, first.month, first.day, tzinfo=UTC).timestamp())
            hours = begin - round(offset.total_seconds()) + HOUR_S * np.arange(24 * days)
            weather = self._in_units_of(query, latitude, longitude, hours)
            entry: dict[str, object] = {
                "latitude": round(latitude, 1),
                "longitude": round(longitude, 1),
                "utc_offset_seconds": round(offset.total_seconds()),
                "timezone": zone,
            }
            if index:
                entry["location_id"] = index
            if kind == "hourly":
                entry |= _hourly_part(names, hours, weather, query)
            else:
                entry |= _daily_part(names, first, days, weather)
            entries.append(entry)
        return json_reply(entries[0] if len(entries) == 1 else entries)

    def _in_units_of(
        self, query: Mapping[str, str], latitude: float, longitude: float, hours: Hours
    ) -> dict[str, NDArray[np.float64]]:
        weather = dict(self.weather(latitude, longitude, hours))
        if query.get("wind_speed_unit") != "ms":
            weather["wind_speed_10m"] = weather["wind_speed_10m"] * 3.6
        return weather

    # --- NASA POWER ----------------------------------------------------------------------

    def _nasa_power(self, query: Mapping[str, str], now: datetime) -> Reply:
        names = query["parameters"].split(",")
        latitude, longitude = float(query["latitude"]), float(query["longitude"])
        shift = round(longitude / 15.0)
        first, last = (
            datetime.strptime(query[key], "%Y%m%d").replace(tzinfo=UTC) for key in ("start", "end")
        )
        if first > last or not set(names) <= set(NASA_UNITS):
            return json_reply({"header": {}, "messages": ["One of your values is bad"]}, status=422)
        series: dict[str, dict[str, float]] = {name: {} for name in names}
        for step in range((last - first).days + 1):
            begin = first + timedelta(days=step, hours=-shift)
            hours = round(begin.timestamp()) + HOUR_S * np.arange(24)
            weather = self.weather(latitude, longitude, hours)
            sun = self.weather(latitude, longitude, hours + HOUR_S)
            age = now - begin
            values = {
                "T2M_MAX": weather["temperature_2m"].max(),
                "T2M_MIN": weather["temperature_2m"].min(),
                "RH2M": weather["relative_humidity_2m"].mean(),
                "T2MDEW": weather["dew_point_2m"].mean(),
                "WS2M": weather["wind_speed_10m"].mean() * 0.748,
                "ALLSKY_SFC_SW_DWN": sun["shortwave_radiation"].sum() * 0.0036,
                "PRECTOTCORR": sun["precipitation"].sum(),
            }
            for name in names:
                # Radiation is about a week late, the rest some days.
                late = timedelta(days=7 if name == "ALLSKY_SFC_SW_DWN" else 3)
                key = f"{first + timedelta(days=step):%Y%m%d}"
                series[name][key] = round(float(values[name]), 2) if age > late else -999.0
        return json_reply(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [longitude, latitude, 41.5]},
                "properties": {"parameter": series},
                "header": {"title": "invented", "fill_value": -999.0, "time_standard": "LST"},
                "messages": [],
                "parameters": {name: {"units": NASA_UNITS[name]} for name in names},
            }
        )

    # --- the grid of the National Weather Service ------------------------------------------

    def _grid(
        self, latitude: float, longitude: float, headers: Mapping[str, str], now: datetime
    ) -> Reply:
        updated = now.replace(minute=0, second=0, microsecond=0)
        modified = f"{updated:%a, %d %b %Y %H:%M:%S} GMT"
        caching = {"Last-Modified": modified, "Cache-Control": "public, max-age=600"}
        if headers.get("If-Modified-Since") == modified:
            return Reply(304, caching)
        hours = round(updated.timestamp()) + HOUR_S * np.arange(-6, 24 * 7)
        weather = self.weather(latitude, longitude, hours)
        ending = self.weather(latitude, longitude, hours + HOUR_S)
        six = [ending["precipitation"][at : at + 6].sum() for at in range(0, hours.size, 6)]
        reply = json_reply(
            {
                "properties": {
                    "updateTime": updated.isoformat(),
                    "elevation": {"unitCode": "wmoUnit:m", "value": 40.2},
                    "temperature": layer("degC", hours, weather["temperature_2m"]),
                    "dewpoint": layer("degC", hours, weather["dew_point_2m"]),
                    "relativeHumidity": layer("percent", hours, weather["relative_humidity_2m"]),
                    "windSpeed": layer("km_h-1", hours, weather["wind_speed_10m"] * 3.6),
                    "skyCover": layer("percent", hours[:1], [35.0], length=hours.size),
                    "probabilityOfPrecipitation": layer(
                        "percent", hours, ending["precipitation_probability"]
                    ),
                    "quantitativePrecipitation": layer("mm", hours[::6], six, length=6),
                    "ceilingHeight": {"uom": None, "values": []},
                }
            },
            media="application/geo+json",
        )
        return replace(reply, headers={**reply.headers, **caching})


def layer(unit: str, hours: Hours, values: Any, *, length: int = 1) -> dict[str, object]:
    """A layer of the grid, one interval of so many hours from each of these hours on."""
    entries = []
    for hour, value in zip(hours, values, strict=True):
        start = datetime.fromtimestamp(int(hour), UTC).isoformat()
        span = f"P{length // 24}DT{length % 24}H" if length >= 24 else f"PT{length}H"
        entries.append({"validTime": f"{start}/{span}", "value": float(value)})
    return {"uom": f"wmoUnit:{unit}", "values": entries}


def _hourly_part(
    names: list[str],
    hours: Hours,
    weather: Mapping[str, NDArray[np.float64]],
    query: Mapping[str, str],
) -> dict[str, object]:
    units = {**HOURLY_UNITS, "wind_speed_10m": "m/s" if query.get("wind_speed_unit") else "km/h"}
    return {
        "hourly_units": {"time": query["timeformat"], **{name: units[name] for name in names}},
        "hourly": {"time": hours.tolist(), **{name: _listed(weather[name]) for name in names}},
    }


def _daily_part(
    names: list[str], first: date, days: int, weather: Mapping[str, NDArray[np.float64]]
) -> dict[str, object]:
    columns: dict[str, object] = {}
    for name in names:
        hourly, how, _ = DAILY_VALUES[name]
        by_day = weather[hourly].reshape(days, 24)
        factor = 0.0036 if name == "shortwave_radiation_sum" else 1.0
        columns[name] = _listed(np.round(getattr(by_day, how)(axis=1) * factor, 2))
    return {
        "daily_units": {"time": "iso8601", **{name: DAILY_VALUES[name][2] for name in names}},
        "daily": {
            "time": [(first + timedelta(days=step)).isoformat() for step in range(days)],
            **columns,
        },
    }


def _listed(values: NDArray[np.float64]) -> list[float | None]:
    return [float(value) if math.isfinite(value) else None for value in values]


# --- the wire --------------------------------------------------------------------------------


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def __init__(self, address: tuple[str, int], handler: type[BaseHTTPRequestHandler]) -> None:
        super().__init__(address, handler)
        self.own_errors: list[BaseException] = []

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that went away is what many tests are about; anything else is a mistake."""
        error = sys.exception()
        if error is not None and not isinstance(error, OSError):
            self.own_errors.append(error)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True
    providers: FakeProviders

    def do_GET(self) -> None:
        parts = urlsplit(self.path)
        query = dict(parse_qsl(parts.query, keep_blank_values=True))
        reply = self.providers.reply(SeenRequest(parts.path, query, dict(self.headers.items())))
        self.send_response(reply.status)
        length = len(reply.body) + (1_000 if reply.drip_s or reply.reset else 0)
        for name, value in {**reply.headers, "Content-Length": str(length)}.items():
            self.send_header(name, value)
        self.end_headers()
        if reply.reset:
            self.wfile.write(reply.body[: len(reply.body) // 2])
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.connection.close()
            self.close_connection = True
        elif reply.drip_s:
            while not self.providers.closing.wait(reply.drip_s):
                self.wfile.write(b" ")
        else:
            self.wfile.write(reply.body)

    def log_message(self, format: str, *args: object) -> None:
        """Quiet: requests are kept in a list instead."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--port", type=int, default=8099)
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="PROVIDER=FAULT",
        help=f"{', '.join(PROVIDER_PATHS)} = {', '.join(NAMED_FAULTS)}",
    )
    arguments = parser.parse_args()
    ends = {signal.SIGINT, signal.SIGTERM}
    signal.pthread_sigmask(signal.SIG_BLOCK, ends)  # for all threads, so that sigwait gets them
    with FakeProviders(port=arguments.port) as providers:
        for order in arguments.fault:
            provider, _, fault = order.partition("=")
            if provider not in PROVIDER_PATHS or fault not in NAMED_FAULTS:
                parser.error(f"--fault {order}: unknown provider or fault")
            providers.order(PROVIDER_PATHS[provider], NAMED_FAULTS[fault])
        print(f"invented weather at {providers.base_url}; Ctrl-C ends it", flush=True)
        signal.sigwait(ends)


if __name__ == "__main__":
    main()
