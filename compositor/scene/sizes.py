"""Published sizes of advertisements under plain names of ours, (width, height) in pixels.

Source: IAB Tech Lab, Fixed Size Ad Specifications, IAB New Ad Portfolio, 2017.
"""

SIZES: dict[str, tuple[int, int]] = {
    "billboard": (970, 250),
    "leaderboard": (728, 90),
    "leaderboard-large": (970, 90),
    "portrait": (300, 1050),
    "skyscraper": (160, 600),
    "rectangle": (300, 250),
    "button": (120, 60),
    "phone-banner": (320, 50),
    "phone-banner-small": (300, 50),
    "phone-full": (1080, 1920),
    "phone-full-medium": (750, 1334),
    "phone-full-small": (640, 1136),
    "feature-phone-small": (120, 20),
    "feature-phone-medium": (168, 28),
    "feature-phone-large": (216, 36),
}
