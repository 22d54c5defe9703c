# SPDX-License-Identifier: MIT
"""pyserial finds replay:// here.

Imports nothing at the top: pyserial reports a handler whose import fails as
"protocol not known", which would hide the reason.
"""


def serial_class_for_url(url):
    """Return (url, class) as pyserial asks for them."""
    from sagline.device.replay import ReplayPort

    return url, ReplayPort
