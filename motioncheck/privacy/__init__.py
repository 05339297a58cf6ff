"""What is held about people: handing it out, taking it away, forgetting it after a while."""

from motioncheck.privacy.erase import Erased, erase_person, erase_sessions
from motioncheck.privacy.expire import find_expired
from motioncheck.privacy.export import export_person
from motioncheck.privacy.share import export_for_sharing

__all__ = [
    "Erased",
    "erase_person",
    "erase_sessions",
    "export_for_sharing",
    "export_person",
    "find_expired",
]
