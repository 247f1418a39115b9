"""Index of every room's models, for Django."""

from breeder.carriers.models import *  # noqa: F403
from breeder.cultures.models import *  # noqa: F403
from breeder.dispatch.models import *  # noqa: F403
from breeder.house.models import *  # noqa: F403
from breeder.orders.models import *  # noqa: F403
from breeder.packing.models import *  # noqa: F403
from breeder.pages.models import *  # noqa: F403
from breeder.people.models import *  # noqa: F403
from breeder.taxa.models import *  # noqa: F403
from breeder.weather.models import *  # noqa: F403
