"""Reads a session folder: session.toml, the files it names, and its tables."""

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from locbench.config import FieldConfig, RobotConfig, SessionConfig, load_config
from locbench.errors import ConfigError
from locbench.session.findings import Finding, FindingCode, FindingList, Severity, unusable
from locbench.session.mark_tables import read_mark_visits
from locbench.session.model import Detections, EvidenceLevel, MarkVisits, PoseTrack, Session
from locbench.session.odometry_tables import read_odometry, read_onboard, read_truth
from locbench.session.request_tables import read_requests
from locbench.session.stretches import read_stretches
from locbench.session.tag_tables import read_detections

__all__ = ["Examination", "SessionFiles", "examine_session", "read_session"]


@dataclass(frozen=True)
class SessionFiles:
    """The files a session is described by: its own, and those it names."""

    session: Path
    robot: Path
    field: Path
    fusion: tuple[Path, ...]


@dataclass(frozen=True)
class Examination:
    """What reading a session folder gave: everything that was found, and the session if it can be used."""

    files: SessionFiles
    config: SessionConfig
    findings: tuple[Finding, ...]
    session: Session | None


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
    examined = examine_session(location)
    if examined.session is None:
        raise unusable(examined.findings, str(examined.files.session))
    return examined.session


def examine_session(location: Path) -> Examination:
    """Return everything found in reading a session folder, whether it can be used or not.

    Parameters
    ----------
    location
        A folder with a session.toml, or that file itself.

    Raises
    ------
    ConfigError
        If session.toml or a file it names is missing, malformed or impossible.
    """
    path = location / "session.toml" if os.path.isdir(location) else location
    folder = path.parent
    if not os.path.isfile(path):
        raise ConfigError(
            "no session there", where=str(location), remedy="Name a folder that holds a session.toml, or that file"
        )
    if path.suffix != ".toml":
        raise ConfigError(
            "this is no session file",
            where=str(location),
            remedy="Name a folder that holds a session.toml; of tables alone, locbench adopt makes one",
        )
    config = load_config(path, SessionConfig)
    fusion = tuple(folder / name for name in config.fusion)
    files = SessionFiles(path, folder / config.robot, folder / config.field, fusion)
    robot, field = load_config(files.robot, RobotConfig), load_config(files.field, FieldConfig)
    findings = FindingList()
    session = _session(files, config, robot, field, findings)
    return Examination(files, config, tuple(findings), session)


def _session(
    files: SessionFiles, config: SessionConfig, robot: RobotConfig, field: FieldConfig, findings: FindingList
) -> Session | None:
    """Return the session, or None after error findings: all tables are read, so that all errors are found."""
    folder = files.session.parent
    odometry = read_odometry(folder, config.odometry, robot, findings)
    times_s = np.array([-np.inf, np.inf]) if odometry is None else odometry.time_s
    span_s = (float(times_s[0]), float(times_s[-1]))
    stretches = read_stretches(config, field, times_s, str(files.session), findings)
    detections = None if config.tags is None else read_detections(folder, config.tags, field, robot, span_s, findings)
    marks = None if config.marks is None else read_mark_visits(folder, config.marks, field, span_s, findings)
    truth = read_truth(folder, config.truth, field.floor, span_s, findings)
    onboard = read_onboard(folder, config.onboard, field.floor, span_s, findings)
    requests_s = None if config.requests is None else read_requests(folder, config.requests, span_s, findings)
    if odometry is not None and not stretches:
        findings.error(
            FindingCode.SEGMENT_OUTSIDE_LOG,
            "no segment lies inside the odometry log",
            f"The log runs from {span_s[0]:.6g} s to {span_s[1]:.6g} s; segments are on the log's own clock",
            file=files.session.name,
            column="segments",
            value=f"{config.segments[0].start:.6g} s to {config.segments[-1].end:.6g} s",
        )
    if odometry is None or any(finding.severity is Severity.ERROR for finding in findings):
        return None
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
        fusion_files=files.fusion,
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
