"""Opens every layer in a folder in QGIS, as a user does by dragging it in, and draws it without a screen.

    QT_QPA_PLATFORM=offscreen python3 render_layers.py FOLDER [FOLDER for pictures]

Run by a Python that has QGIS's bindings (Debian: python3-qgis, qgis-providers). Prints a line a file; leaves with status 1
where a layer has no style of its own, no alias, or no pixel in the colours of its legend.
"""

import sys
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor


def draw(layer):
    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setOutputSize(QSize(900, 700))
    settings.setBackgroundColor(QColor("white"))
    crs = QgsCoordinateReferenceSystem("EPSG:3857")
    settings.setDestinationCrs(crs)
    extent = QgsCoordinateTransform(layer.crs(), crs, QgsProject.instance()).transformBoundingBox(layer.extent())
    extent.scale(1.05)
    settings.setExtent(extent)
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage()


def main():
    folder = Path(sys.argv[1])
    looks = {"set-aside": "categorizedSymbol"}
    for stem in ("points", "set-aside", "swaths", "grid"):
        kind = looks.get(stem, "graduatedSymbol")
        for extension in ("gpkg", "shp", "geojson", "fgb"):
            path = folder / f"{stem}.{extension}"
            layer = QgsVectorLayer(str(path), stem, "ogr")
            if not layer.isValid() or not layer.crs().isValid():
                sys.exit(f"{path.name}: cannot be opened")
            renderer = layer.renderer()
            if renderer.type() != kind:
                sys.exit(f"{path.name}: opens as {renderer.type()}")
            if "t/ha" not in layer.attributeAlias(layer.fields().indexOf("yield")):
                sys.exit(f"{path.name}: no unit in the alias of yield")
            legend = {item.symbol().color().name() for item in renderer.legendSymbolItems()}
            image = draw(layer)
            if len(sys.argv) > 2:
                image.save(str(Path(sys.argv[2]) / f"{stem}-{extension}.png"))
            pixels = {image.pixelColor(x, y).name() for x in range(0, 900, 2) for y in range(0, 700, 2)}
            found = legend & pixels
            if len(found) < min(3, len(legend)):
                sys.exit(f"{path.name}: {len(found)} of {len(legend)} colours are on the map")
            print(f"{path.name}: drawn, {len(found)} of {len(legend)} colours on the map")


application = QgsApplication([], False)
application.initQgis()
main()
application.exitQgis()
