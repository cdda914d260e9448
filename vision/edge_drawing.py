"""OpenCV's EdgeDrawing, kept from what makes it write past its buffers."""

from typing import Any

import cv2
import numpy as np

from vision.edges import Image

# Share of the picture that may count as edge. A floor of asphalt or cloth is edge all over: EdgeDrawing then joins
# chains of edge pixels longer than the 8 (width + height) it has room for, and the process dies (seen with OpenCV 5.0;
# opencv_contrib issues 3429 and 3704 tell of it). Under this share the longest chain seen takes a fifth of the room.
MOST_EDGE = 0.3
PREWITT = np.array([[-1, 0, 1]] * 3, np.float32)


def drawn_edges(small: Image, gradient: int, least_path: int = 20) -> Any:
    """Return an EdgeDrawing that has drawn the edges of a picture, ready for its ellipses or lines.

    Parameters
    ----------
    small : (H, W) ndarray of uint8
        Reduced to about a thousand pixels.
    gradient : int
        Least gradient of an edge, sum of both directions over three pixels; raised where the picture is all texture.
    least_path : int
        Shortest chain, pixels.
    """
    slope = np.abs(cv2.filter2D(small, cv2.CV_32F, PREWITT)) + np.abs(cv2.filter2D(small, cv2.CV_32F, PREWITT.T))
    settings = cv2.ximgproc.EdgeDrawing.Params()
    settings.MinPathLength, settings.NFAValidation = least_path, True
    settings.GradientThresholdValue = int(max(gradient, np.percentile(slope, 100 * (1 - MOST_EDGE))))
    detector = cv2.ximgproc.createEdgeDrawing()
    detector.setParams(settings)
    detector.detectEdges(small)
    return detector
