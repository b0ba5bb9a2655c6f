"""Measures a surface with the Visualization Toolkit (python3-vtk9 of Debian).

    python3 vtk.py scan.stl points.txt    prints one JSON object
"""

import json
import sys

import vtk


def main(path, points):
    reader = vtk.vtkSTLReader()  # merges equal points
    reader.SetFileName(path)
    reader.Update()
    surface = reader.GetOutput()

    mass = vtk.vtkMassProperties()
    mass.SetInputData(surface)
    mass.Update()

    regions = vtk.vtkPolyDataConnectivityFilter()
    regions.SetInputData(surface)
    regions.SetExtractionModeToAllRegions()
    regions.Update()

    edges = vtk.vtkFeatureEdges()
    edges.SetInputData(surface)
    edges.BoundaryEdgesOn()
    edges.FeatureEdgesOff()
    edges.NonManifoldEdgesOff()
    edges.ManifoldEdgesOff()
    edges.Update()
    loops = vtk.vtkStripper()
    loops.SetInputData(edges.GetOutput())
    loops.JoinContiguousSegmentsOn()
    loops.SetMaximumLength(1000000)
    loops.Update()
    lengths = []
    line = loops.GetOutput()
    for i in range(line.GetNumberOfCells()):
        p = line.GetCell(i).GetPoints()
        total = 0.0
        for k in range(1, p.GetNumberOfPoints()):
            total += vtk.vtkMath.Distance2BetweenPoints(p.GetPoint(k - 1), p.GetPoint(k)) ** 0.5
        lengths.append(total)

    curvature = vtk.vtkCurvatures()
    curvature.SetInputData(surface)
    curvature.SetCurvatureTypeToMean()
    curvature.Update()
    bend = curvature.GetOutput().GetPointData().GetArray("Mean_Curvature")

    finder = vtk.vtkCellLocator()
    finder.SetDataSet(surface)
    finder.BuildLocator()
    near, cell, sub, d2 = [0.0] * 3, vtk.reference(0), vtk.reference(0), vtk.reference(0.0)
    distance = []
    for row in open(points):
        finder.FindClosestPoint([float(x) for x in row.split()], near, cell, sub, d2)
        distance.append(float(d2) ** 0.5)

    print(json.dumps({
        "points": surface.GetNumberOfPoints(),
        "faces": surface.GetNumberOfCells(),
        "area": mass.GetSurfaceArea(),
        "volume": mass.GetVolume(),
        "components": regions.GetNumberOfExtractedRegions(),
        "boundary_edges": edges.GetOutput().GetNumberOfCells(),
        "loops": lengths,
        "position": [surface.GetPoint(i) for i in range(0, surface.GetNumberOfPoints(), 7)],
        "mean_curvature": [bend.GetValue(i) for i in range(0, surface.GetNumberOfPoints(), 7)],
        "distance": distance,
    }))


main(sys.argv[1], sys.argv[2])
