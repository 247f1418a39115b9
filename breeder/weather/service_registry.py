"""The weather services that the household chose; a new book has none."""

from collections.abc import Callable
from dataclasses import dataclass

from breeder.base.models import Setting
from breeder.weather.fetcher import Fetcher
from breeder.weather.services import met, nws, open_meteo
from breeder.weather.services.types import WeatherService

MakeFetcher = Callable[[WeatherService, str], Fetcher]


@dataclass(frozen=True)
class ChosenService:
    """A chosen service; `own_home` is the keeper's own server or relay for it, or empty."""

    service: WeatherService
    own_home: str


def chosen_services(setting: Setting) -> tuple[ChosenService, ...]:
    """Return the first and second chosen services, with the household's contact, key and own server."""
    own_home = setting.weather_url.rstrip("/")
    if setting.weather_service == Setting.WeatherService.OPEN_METEO:
        # The address is that of the keeper's own Open-Meteo server, which is no relay for other services.
        first, relay = ChosenService(open_meteo.OpenMeteoService(setting.weather_key, own_home), own_home), ""
    else:
        first, relay = _keyless(setting.weather_service, setting.weather_contact, own_home), own_home
    if first is None:
        return ()
    second = _keyless(setting.weather_second, setting.weather_contact, relay)
    return (first,) if second is None or second.service.key == first.service.key else (first, second)


def _keyless(name: str, contact: str, own_home: str) -> ChosenService | None:
    if name == Setting.WeatherService.NWS:
        return ChosenService(nws.NwsService(contact, own_home or nws.HOME), own_home)
    if name == Setting.WeatherService.MET:
        return ChosenService(met.MetService(contact, own_home or met.HOME), own_home)
    return None


def first_service(setting: Setting) -> WeatherService | None:
    """Return the first service chosen."""
    chosen = chosen_services(setting)
    return chosen[0].service if chosen else None


def fetcher_for(service: WeatherService, own_home: str) -> Fetcher:
    """Return a fetcher for a service."""
    return Fetcher(service.name, service.domain, own_home, service.retry_when_limited_s)
