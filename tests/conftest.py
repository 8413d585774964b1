"""Settings for every test: hypothesis without clocks and with the same examples each time; no cache but its own."""

import os

from hypothesis import HealthCheck, settings

os.environ["COMPOSITOR_CACHE"] = "off"

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile("steady")
