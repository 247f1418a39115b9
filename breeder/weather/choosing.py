"""The service that the household chose, ready to be asked; None while none is chosen, as every book begins."""

from collections.abc import Callable

from breeder.house.models import Setting
from breeder.weather.fetcher import Fetcher
from breeder.weather.services import met, nws, open_meteo
from breeder.weather.services.values import WeatherService

MakeFetcher = Callable[[WeatherService, str], Fetcher]


def service_of(setting: Setting) -> WeatherService | None:
    """Return the chosen service with the household's contact, key and own server."""
    own = setting.weather_url.rstrip("/")
    if setting.weather_service == Setting.WeatherService.NWS:
        return nws.UsService(setting.weather_contact, own or nws.HOME)
    if setting.weather_service == Setting.WeatherService.MET:
        return met.NorwegianService(setting.weather_contact, own or met.HOME)
    if setting.weather_service == Setting.WeatherService.OPEN_METEO:
        return open_meteo.OwnService(setting.weather_key, own)
    return None


def fetcher_for(service: WeatherService, own_home: str) -> Fetcher:
    """Return what asks a service."""
    return Fetcher(service.name, service.domain, own_home, service.retry_when_limited_s)
