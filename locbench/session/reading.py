"""Reads a session folder: session.toml, the files it names, and its tables."""

import os
from pathlib import Path

import numpy as np

from locbench.config import FieldConfig, RobotConfig, SessionConfig, load_config
from locbench.errors import ConfigError, SessionError
from locbench.session.findings import raise_on_errors
from locbench.session.mark_tables import read_mark_visits
from locbench.session.model import Detections, EvidenceLevel, MarkVisits, PoseTrack, Session
from locbench.session.odometry_tables import read_odometry, read_onboard, read_truth
from locbench.session.request_tables import read_requests
from locbench.session.stretches import read_stretches
from locbench.session.tables import FindingList
from locbench.session.tag_tables import read_detections

__all__ = ["read_session"]


def read_session(location: Path) -> Session:
    """Return the session in a folder.

    Parameters
    ----------
    location
        A folder with a session.toml, or that file itself.

    Returns
    -------
    Session
        With the findings that did not stop the work.

    Raises
    ------
    ConfigError
        If session.toml or a file it names is missing, malformed or impossible.
    SessionError
        If a table cannot be used; the message names the first reason and lists the others.
    """
    path = location / "session.toml" if os.path.isdir(location) else location
    folder = path.parent
    if not os.path.isfile(path):
        raise ConfigError(
            "no session there", where=str(location), remedy="Name a folder that holds a session.toml, or that file"
        )
    config = load_config(path, SessionConfig)
    robot = load_config(folder / config.robot, RobotConfig)
    field = load_config(folder / config.field, FieldConfig)
    findings = FindingList()
    odometry = read_odometry(folder, config.odometry, robot, findings)
    times_s = np.array([-np.inf, np.inf]) if odometry is None else odometry.time_s
    span_s = (float(times_s[0]), float(times_s[-1]))
    stretches = read_stretches(config, field, times_s, str(path), findings)
    detections = None if config.tags is None else read_detections(folder, config.tags, field, robot, span_s, findings)
    marks = None if config.marks is None else read_mark_visits(folder, config.marks, field, span_s, findings)
    truth = read_truth(folder, config.truth, field.floor, span_s, findings)
    onboard = read_onboard(folder, config.onboard, field.floor, span_s, findings)
    requests_s = None if config.requests is None else read_requests(folder, config.requests, span_s, findings)
    raise_on_errors(findings, str(path))
    if odometry is None or not stretches:
        raise SessionError(
            "no segment lies inside the odometry log",
            where=f"{path}: segments",
            received=f"{config.segments[0].start:.6g} s to {config.segments[-1].end:.6g} s",
            remedy=f"The log runs from {span_s[0]:.6g} s to {span_s[1]:.6g} s; segments are on the log's own clock",
        )
    return Session(
        name=config.name,
        folder=folder,
        robot=robot,
        field=field,
        odometry=odometry,
        stretches=stretches,
        detections=detections,
        marks=marks,
        truth=truth,
        onboard=onboard,
        requests_s=requests_s,
        findings=tuple(findings),
        evidence=_evidence(truth, marks, detections),
        fusion_files=tuple(folder / name for name in config.fusion),
        shooter_file=None if config.shooter is None else folder / config.shooter,
    )


def _evidence(truth: PoseTrack | None, marks: MarkVisits | None, detections: Detections | None) -> EvidenceLevel:
    if truth is not None:
        return EvidenceLevel.DENSE_TRUTH
    if marks is not None and len(marks):
        return EvidenceLevel.SURVEYED_MARKS
    if detections is not None and len(detections):
        return EvidenceLevel.TAGS_ONLY
    return EvidenceLevel.NOTHING
