"""Index of every room's models, for Django."""

from breeder.base.models import *  # noqa: F403
from breeder.carriers.models import *  # noqa: F403
from breeder.cultures.models import *  # noqa: F403
from breeder.orders.models import *  # noqa: F403
from breeder.people.models import *  # noqa: F403
from breeder.shipments.models import *  # noqa: F403
from breeder.species.models import *  # noqa: F403
from breeder.weather.models import *  # noqa: F403
