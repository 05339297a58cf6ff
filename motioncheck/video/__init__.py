"""Reading and writing clips: true time stamps, upright pictures, damage told.

Importing this room loads neither PyAV nor OpenCV.
"""

from motioncheck.video.ahead import ReadAhead, read_ahead
from motioncheck.video.decode import ClipReader
from motioncheck.video.pick import pick_pictures
from motioncheck.video.picture import Frame, Picture
from motioncheck.video.probe import hash_file, probe_clip
from motioncheck.video.spool import PictureSpool
from motioncheck.video.write import ClipWriter

__all__ = [
    "ClipReader",
    "ClipWriter",
    "Frame",
    "Picture",
    "PictureSpool",
    "ReadAhead",
    "hash_file",
    "pick_pictures",
    "probe_clip",
    "read_ahead",
]
