"""Times the Visualization Toolkit (python3-vtk9 of Debian) on a scan.

    python3 toolkit.py scan.stl times    prints one JSON object: seconds, the middle one of so many
"""

import json
import statistics
import sys
import time

import vtk


def timed(times, work):
    took = []
    for _ in range(times):
        start = time.perf_counter()
        out = work()
        took.append(time.perf_counter() - start)
    return statistics.median(took), out


def read(path):
    reader = vtk.vtkSTLReader()  # merges equal points
    reader.SetFileName(path)
    edges = vtk.vtkFeatureEdges()
    edges.SetInputConnection(reader.GetOutputPort())
    edges.BoundaryEdgesOn()
    edges.NonManifoldEdgesOn()
    edges.FeatureEdgesOff()
    edges.ManifoldEdgesOff()
    edges.Update()
    return reader.GetOutput()


def measure(surface):
    edges = vtk.vtkFeatureEdges()
    edges.SetInputData(surface)
    edges.BoundaryEdgesOn()
    edges.NonManifoldEdgesOff()
    edges.FeatureEdgesOff()
    edges.ManifoldEdgesOff()
    loops = vtk.vtkStripper()
    loops.SetInputConnection(edges.GetOutputPort())
    loops.JoinContiguousSegmentsOn()
    loops.SetMaximumLength(1000000)
    loops.Update()
    pieces = vtk.vtkPolyDataConnectivityFilter()
    pieces.SetInputData(surface)
    pieces.SetExtractionModeToAllRegions()
    pieces.Update()
    mass = vtk.vtkMassProperties()
    mass.SetInputData(surface)
    mass.Update()
    return pieces.GetNumberOfExtractedRegions(), mass.GetSurfaceArea()


def main(path, times):
    took, surface = timed(times, lambda: read(path))
    both, (pieces, area) = timed(times, lambda: measure(surface))
    json.dump({"read": took, "measure": both, "pieces": pieces, "area": area}, sys.stdout)


main(sys.argv[1], int(sys.argv[2]))
