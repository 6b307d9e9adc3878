// Reads ISO 11783-10 task data with the npm package isoxml (1.11.2, Apache-2.0) and prints what it finds as JSON: per
// log its records, or with --all their times, positions and values. Usage: node read_taskdata.cjs FOLDER [--all]
const fs = require('fs')
const path = require('path')
const { ISOXMLManager } = require('isoxml')
const JSZip = require(require.resolve('jszip', { paths: [require.resolve('isoxml')] }))

async function main() {
    const folder = process.argv[2]
    const zip = new JSZip()
    for (const name of fs.readdirSync(folder)) {
        if (/\.(xml|bin)$/i.test(name)) {
            // The package looks for TASKDATA.XML in upper case and strips no byte-order mark.
            let bytes = fs.readFileSync(path.join(folder, name))
            if (bytes[0] === 0xef && bytes[1] === 0xbb) bytes = bytes.subarray(3)
            zip.file('TASKDATA/' + name, bytes)
        }
    }
    const manager = new ISOXMLManager()
    await manager.parseISOXMLFile(await zip.generateAsync({ type: 'uint8array' }), 'application/zip')
    const logs = {}
    for (const task of manager.rootElement.attributes.Task || []) {
        for (const log of task.attributes.TimeLog || []) {
            const name = log.attributes.Filename
            if (!log.binaryData || !log.timeLogHeader) {
                logs[name] = null
                continue
            }
            const records = log.parseBinaryFile().timeLogs
            logs[name] = process.argv[3] === '--all'
                ? records.map(r => ({ time: r.time.getTime() / 1000, position: r.position, values: r.values }))
                : records.length
        }
    }
    console.log(JSON.stringify({ logs, warnings: manager.getWarnings() }))
}
main().catch(error => {
    console.error(error)
    process.exit(1)
})
