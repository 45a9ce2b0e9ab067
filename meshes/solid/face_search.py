"""Find the face that lies at a place in plan, and evaluate nodal fields there."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree

from headjoint.meshes.solid.hexahedra import face_functions
from headjoint.model.base.arrays import FloatArray, IntArray

CANDIDATES = 12
BULGE = 0.15  # of a face's extent along either axis, by which curved edges may reach beyond its nodes
INSIDE = 1e-6  # slack in local coordinates
NEWTON_STEPS = 12
ARRIVED = 1e-9  # in local coordinates: a step so short leaves an error of its square


class FaceSearch:
    """Search over faces (8 or 6, f), which may be curved, by their nearest centres and Newton's inversion."""

    def __init__(self, points: FloatArray, faces: IntArray) -> None:
        self.faces = faces
        self._nodes = points[:2, faces]
        corners = 4 if len(faces) == 8 else 3
        self._corners = corners
        self._tree = cKDTree(self._nodes[:, :corners].mean(axis=1).T)

    def locate(self, places: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return face number (p,), -1 where none, and local coordinates (p, 2) of places (2, p) in mm."""
        count = min(CANDIDATES, self.faces.shape[1])
        _, near = self._tree.query(places.T, k=count)
        near = near.reshape(places.shape[1], count)
        face = np.full(places.shape[1], -1)
        local = np.zeros((places.shape[1], 2))
        for column in range(count):
            open_ = np.flatnonzero(face < 0)
            if not len(open_):
                break
            xi, inside = self._invert(places[:, open_], near[open_, column])
            face[open_[inside]] = near[open_[inside], column]
            local[open_[inside]] = xi[inside]
        self._locate_by_boxes(places, face, local)
        return face, local

    def _locate_by_boxes(self, places: FloatArray, face: IntArray, local: FloatArray) -> None:
        """Look for places that no near face has: beside many small faces the middle of a long one may be far."""
        open_ = np.flatnonzero(face < 0)
        low, high = self._nodes.min(axis=1), self._nodes.max(axis=1)
        slack = BULGE * (high - low)
        within = np.ones((len(open_), self.faces.shape[1]), dtype=bool)
        for own, least, most in zip(places[:, open_], low - slack, high + slack, strict=True):
            within &= (own[:, None] >= least) & (own[:, None] <= most)
        which, tried = np.nonzero(within)
        xi, inside = self._invert(places[:, open_[which]], tried)
        face[open_[which[inside]]], local[open_[which[inside]]] = tried[inside], xi[inside]

    def _invert(self, places: FloatArray, face: IntArray) -> tuple[FloatArray, np.ndarray]:
        xi = np.full((len(face), 2), 0.0 if self._corners == 4 else 1.0 / 3.0)
        nodes = self._nodes[:, :, face]
        moving = np.arange(len(face))
        for _ in range(NEWTON_STEPS):
            values, gradients = face_functions(xi[moving], len(self.faces))
            error = np.einsum("dkp,pk->pd", nodes[:, :, moving], values) - places.T[moving]
            jacobian = np.einsum("dkp,pka->pda", nodes[:, :, moving], gradients)
            determinant = np.linalg.det(jacobian)
            jacobian[np.abs(determinant) < 1e-12] = np.eye(2)
            step = np.linalg.solve(jacobian, error[:, :, None])[:, :, 0]
            xi[moving] = np.clip(xi[moving] - step, -3.0, 3.0)
            moving = moving[np.abs(step).max(axis=1) > ARRIVED]
            if not len(moving):
                break
        values, _ = face_functions(xi, len(self.faces))
        reached = np.linalg.norm(np.einsum("dkp,pk->pd", nodes, values) - places.T, axis=1) < 1e-6
        if self._corners == 4:
            within = (np.abs(xi) <= 1.0 + INSIDE).all(axis=1)
        else:
            within = (xi >= -INSIDE).all(axis=1) & (xi.sum(axis=1) <= 1.0 + INSIDE)
        return xi, reached & within

    def operator(self, places: FloatArray, nodes: int) -> tuple[sp.csr_matrix, np.ndarray]:
        """Return the operator (p, nodes) that evaluates a nodal field at places, and which places found a face."""
        face, local = self.locate(places)
        met = face >= 0
        values, _ = face_functions(local, len(self.faces))
        row = np.repeat(np.flatnonzero(met), len(self.faces))
        column = self.faces[:, face[met]].T.ravel()
        matrix = sp.csr_matrix((values[met].ravel(), (row, column)), shape=(places.shape[1], nodes))
        return matrix, met
