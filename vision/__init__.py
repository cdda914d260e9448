"""Pictures and geometry: a photo in, a measurement out. Knows nothing of brake packages."""

from vision.face import measure_face
from vision.measurement import Measurement
from vision.overlay import draw_overlay
from vision.photo import Photo, PhotoError, read_photo
from vision.request import Request

__all__ = ["Measurement", "Photo", "PhotoError", "Request", "draw_overlay", "measure_face", "read_photo"]
