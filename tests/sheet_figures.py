"""Drawn figures for the tests of the sheet room: landmarks, and a picture of nobody real."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np

from motioncheck.skeleton import COUNT, INDEX

WIDTH, HEIGHT = 270, 480


def side_figure(thigh_deg: float, trunk_deg: float, shank_deg: float) -> np.ndarray:
    """Return 33 landmarks of a squatting figure seen from its right, facing right."""
    points = np.full((COUNT, 2), np.nan)
    th, tr, sh = np.radians([thigh_deg, trunk_deg, shank_deg])
    ankle = np.array([120.0, 430.0])
    knee = ankle + 100 * np.array([np.sin(sh), -np.cos(sh)])
    hip = knee + 105 * np.array([-np.cos(th), -np.sin(th)])
    shoulder = hip + 120 * np.array([np.sin(tr), -np.cos(tr)])
    head = shoulder + 50 * np.array([np.sin(tr * 0.4), -np.cos(tr * 0.4)])
    elbow = shoulder + np.array([55.0, 12.0])
    wrist = elbow + np.array([52.0, -8.0])
    for side, shift in (("left", 3.0), ("right", 0.0)):
        places = {
            "ankle": ankle, "knee": knee, "hip": hip, "shoulder": shoulder, "elbow": elbow,
            "wrist": wrist, "heel": ankle + np.array((-14, 14)),
            "toe": ankle + np.array((42, 16)), "ear": head,
            "eye": head + np.array((20, -6)), "eye_inner": head + np.array((22, -6)),
            "eye_outer": head + np.array((16, -6)), "pinky": wrist + np.array((14, 0)),
            "index": wrist + np.array((16, -2)), "thumb": wrist + np.array((8, -6)),
        }  # fmt: skip
        for name, place in places.items():
            points[INDEX[f"{side}_{name}"]] = place + np.array([shift, -shift])
        points[INDEX[f"mouth_{side}"]] = head + np.array([18.0, 14.0])
    points[INDEX["nose"]] = head + np.array([27.0, 3.0])
    return points


def front_figure(arm_deg: float, leg_deg: float) -> np.ndarray:
    """Return 33 landmarks of a figure seen from the front with arms and legs spread."""
    points = np.full((COUNT, 2), np.nan)
    hip_y, shoulder_y = 260.0, 150.0
    arm, leg = np.radians([arm_deg, leg_deg])
    head = np.array([135.0, 105.0])
    # The person's left is on the right of the picture.
    for side, sign in (("left", 1.0), ("right", -1.0)):
        out = np.array([sign, 1.0])
        hip, shoulder = np.array([135 + 20 * sign, hip_y]), np.array([135 + 38 * sign, shoulder_y])
        arm_way, leg_way = (np.array([np.sin(a), np.cos(a)]) * out for a in (arm, leg))
        places = {
            "hip": hip, "shoulder": shoulder, "elbow": shoulder + 52 * arm_way,
            "wrist": shoulder + 100 * arm_way, "knee": hip + 85 * leg_way,
            "ankle": hip + 170 * leg_way, "heel": hip + 176 * leg_way,
            "toe": hip + 182 * leg_way + np.array((8 * sign, 6)),
            "ear": head + np.array((16 * sign, 0)),
            "eye": head + np.array((8 * sign, -5)), "eye_inner": head + np.array((5 * sign, -5)),
            "eye_outer": head + np.array((11 * sign, -5)), "pinky": shoulder + 110 * arm_way,
            "index": shoulder + 112 * arm_way, "thumb": shoulder + 108 * arm_way,
        }  # fmt: skip
        for name, place in places.items():
            points[INDEX[f"{side}_{name}"]] = place
        points[INDEX[f"mouth_{side}"]] = head + np.array([6.0 * sign, 12.0])
    points[INDEX["nose"]] = head + np.array([0.0, 4.0])
    return points


def photo(points: np.ndarray) -> np.ndarray:
    """Return a picture of a drawn figure with skin, clothes, hair and a face."""
    rng = np.random.default_rng(7)
    picture = np.full((HEIGHT, WIDTH, 3), (196, 190, 178), np.uint8)
    picture[445:] = (120, 104, 88)
    picture = np.clip(picture + rng.normal(0, 5, picture.shape), 0, 255).astype(np.uint8)
    at = {name: tuple(int(v) for v in points[INDEX[name]]) for name in INDEX}
    for side in ("left", "right"):
        chains = (
            (("hip", "knee", "ankle"), (52, 60, 92), 30), (("ankle", "toe"), (60, 40, 40), 20),
            (("shoulder", "elbow", "wrist"), (214, 164, 136), 18),
            (("shoulder", "hip"), (88, 112, 96), 46),
        )  # fmt: skip
        for chain, colour, width in chains:
            for a, b in pairwise(chain):
                cv2.line(picture, at[f"{side}_{a}"], at[f"{side}_{b}"], colour, width, cv2.LINE_AA)
    head = tuple(
        int(v)
        for v in (points[INDEX["left_ear"]] + points[INDEX["right_ear"]]) / 2 + np.array((6, 0))
    )
    cv2.ellipse(picture, head, (27, 34), 0, 0, 360, (214, 164, 136), cv2.FILLED, cv2.LINE_AA)
    cv2.ellipse(picture, (head[0] - 4, head[1] - 14), (28, 24), 0, 150, 380, (60, 40, 28), -1)
    for name in ("left_eye", "right_eye"):
        cv2.circle(picture, at[name], 3, (20, 20, 20), cv2.FILLED)
    cv2.line(picture, at["mouth_left"], at["mouth_right"], (150, 40, 50), 3)
    return picture
