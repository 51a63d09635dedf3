/**
 * Shapes of what the server sends: the same as in `documents.py` beside the server. Types only.
 *
 * @typedef {[number, number]} XY
 * @typedef {XY[]} Line
 * @typedef {number | string} Anchor
 * @typedef {{view?: string, piece?: string, size?: string, edge?: string, seam?: number, alteration?: number, cloth?: string, garment?: string, laid?: string, field?: string, file?: string}} Where
 * @typedef {{code: string, message: string, where: Where, choices?: string[], open?: OpenOutline}} Problem
 * @typedef {{lines: string, gaps: [XY, XY][]}} OpenOutline
 * @typedef {{kind: string, message: string, where: Where, code?: string | null, open?: OpenOutline}} Finding
 * @typedef {{message: string, where: Where}} Blocker
 * @typedef {{ok: boolean, rev: number, result?: any, problem?: Problem, n?: number, event?: string}} Reply
 * @typedef {{id: number, kind: string, state: string, cloth: string | null, doing: string, share: number, length: number | null, found: boolean, elapsed: number, seconds: number | null, rounds: number | null, seed: number, command: string, problem: Problem | null}} Run
 * @typedef {{index: number, file: string, size: string | null, units: string | null, pages: number[] | null, layers: string[] | null, pieces: number, findings: Finding[]}} FileDoc
 * @typedef {{index: number, name: string, size: string | null, wearer: string | null, count: number | string, pieces: string[] | null, cloth: Record<string, string>, value: number, ratio: number | null, same_cloth: boolean}} Garment
 * @typedef {{rev: number, order: any, readable: boolean, problem: Problem | null, title: string, units: string, files: FileDoc[], garments: Garment[], sizes: string[], wearers: string[], cloths: string[], undo: {label: string} | null, redo: {label: string} | null, blockers: Blocker[], run: Run | null, warm: any, disk: any, tabs: number, command: string, results: string, demo: boolean, version: string}} State
 * @typedef {{at: XY, direction: number, depth: number, kind: string, name: string | null}} Notch
 * @typedef {{at: XY, diameter: number, name: string | null}} Drill
 * @typedef {{name: string, named: boolean, source: string, start: Anchor, end: Anchor, line: Line, cut: Line, length: number, finish: string | null, allowance: string | null, trim_short: string | null, fold: boolean, fold_side: string | null, why_no_fold: string | null}} Edge
 * @typedef {{value: any, given: boolean}} Field
 * @typedef {{id: string, name: string, size: string | null, file: string | null, label: string, outline: Line, seam: Line | null, inside: Line[], cutouts: Line[], notches: Notch[], drills: Drill[], corners: [number, XY][], grain: Line | null, grain_deg: number | null, fold: Line | null, edges: Edge[], settings: Record<string, Field>, findings: Finding[], usable: boolean, problem: Problem | null, places: XY[], bounds: [number, number, number, number], in_order: boolean, unnamed: boolean, text: string[]}} Piece
 * @typedef {{id: string, kind: string, pieces: string[], edges: string[], value: any, message: string, why: string, sure: number, guess: boolean}} Proposal
 * @typedef {{kind: string, example: string, needs_length: boolean, words: string}} Finish
 * @typedef {{rev: number, pieces: Piece[], proposals: Proposal[], unsaid: string[], finishes: Finish[], turns: string[], edge_names: string[]}} Pieces
 * @typedef {{edges: string[], pieces: string[], length: number, wanted: number, drawn: Line[], joins: number[], marks: any[], half: boolean, mirrored: boolean, centre: boolean, parts: Line[]}} SeamSide
 * @typedef {{index: number, size: string | null, sides: SeamSide[], difference: number, tolerance: number, agrees: boolean, messages: string[], no_centre: string[], ease: number, ratio: number}} Seam
 * @typedef {{index: number, ease_between: string[] | null, match: boolean, add_centre_notches: boolean, add_join_notches: boolean, in_row: boolean}} SeamSettings
 * @typedef {{index: number, leader: string, follower: string, faces: string, shape: string | null}} Together
 * @typedef {{rev: number, seams: Seam[], settings: SeamSettings[], together: Together[], proposals: Proposal[], loose: string[]}} Seams
 * @typedef {{index: number, kind: string, pieces: string[], size: string | null, wearer: string | null, by: string, by_mm: number, at: string | null, at_mm: number | null, edge: string | null, hold: Anchor[], asks: boolean, start: string | null, edges: string[], lines: Record<string, Line>, message: string}} Alteration
 * @typedef {{before: {outline: Line, seam: Line | null}, after: {outline: Line, seam: Line | null}, grain_extent: XY, grain_deg: number, follows: string | null}} Change
 * @typedef {{rev: number, alterations: Alteration[], shapes: Record<string, Change>, seams: Seam[]}} Alterations
 * @typedef {{index: number, name: string, fields: Record<string, Field>, in_mm: Record<string, number>, findings: Finding[]}} Cloth
 * @typedef {{index: number | null, name: string, cloth: string, outline: Line, flaws: Line[], width: number, length: number, rectangular: boolean, source: string}} Remnant
 * @typedef {{index: number, name: string, measures: Record<string, string>}} Wearer
 * @typedef {{index: number, name: string, edges: string[], sits: string | null, passes: string | null, values: Record<string, string>, lines: Record<string, string>[], findings: Finding[]}} Opening
 * @typedef {{index: number, name: string, kind: string, edges: string[], values: Record<string, string>, ratios: Record<string, string>}} Trim
 * @typedef {{index: number, name: string, size: string | null, round: string[] | null, rectangle: string[] | null, values: Record<string, string>, words: string[]}} Band
 * @typedef {{file: string, pages: {number: number, width: number, height: number, words: string, read: boolean, usual: boolean, drawing: string}[], layers: {name: string, shown: boolean, read: boolean, count: number}[]}} Contents
 * @typedef {{rev: number, cloths: Cloth[], fields: any[], remnants: Remnant[], stash: string | null, wearers: Wearer[], measures: string[], openings: Opening[], trims: Trim[], bands: Band[], kinds: string[], edges: string[], garments: Garment[], top: Record<string, string>}} Cloths
 * @typedef {{outline: Line, seam: Line | null, inside: Line[], cutouts: Line[], notches: Notch[], drills: Drill[], grain: Line, fold: Line | null, label: string}} Shape
 * @typedef {{id: string, number: number, piece: string, size: string | null, garment: string, copy: number, label: string, tag: string, shape: string, x: number, y: number, turn: number, flipped: boolean, plies: number[], on_fold: boolean, opened: boolean, gives: number, follows: string | null, kept: boolean, turns: number[], refused: [number, string][], flips: boolean, why_no_flip: string | null, fixed_x: number | null, fixed_y: number | null, snap_x: {every: number, offset: number} | null, snap_y: {every: number, offset: number} | null, tilt: number}} Laid
 * @typedef {{start: number, length: number, before: number, after: number, spread: string, table_width: number, plies: {ply: number, face: string, region: Line, flaws: Line[]}[], folds: {along: string, at: number, plies: number[]}[], pieces: Laid[]}} Section
 * @typedef {{spread: string, lay: string | null, lay_length: number | null, buy_length: number | null, utilisation: number | null, handling: number[] | null, cost: number | null, refused: string | null, chosen: boolean, shown: boolean}} SpreadRow
 * @typedef {{of: number, ok: boolean | null, failures: {code: string, message: string, laid: string[], at: XY | null}[], lay_length: number, buy_length: number}} Judged
 * @typedef {{rev: number, cloths: string[], cloth: string, lay: string | null, move: number, spread: string | null, sections: Section[], shapes: Record<string, Shape>, lay_length: number, buy_length: number, lower_bound: number, bound_reason: string, utilisation: number, gap: number, width: number, spreads: SpreadRow[], judged: Judged | null, stale: boolean, edited: boolean, over: string | null, remnant: string | null, notes: string[], garments: any[], command: string, colours: Record<string, number>}} Lay
 * @typedef {{rev: number, answer: any | null, words: string[], pictures: {name: string, title: string, url: string}[], stale: boolean, command: string}} Answer
 * @typedef {{rev: number, answer: any | null, rows: any[], refused: any[], trims: any[], curves: {cloth: string, width: number | null, points: {count: number, length: number}[]}[], savings: {what: string, lengths: Record<string, number>, money: number | null, handling: string, refused: boolean}[] | null, shopping: string[], unlisted: string[], stale: boolean, command: string}} Buy
 * @typedef {{laid: string, number: number, cells: Record<string, string>, done: boolean}} CutRow
 * @typedef {{name: string, corners: Line, size: XY, shift: number, dark: boolean, matrix: number[]}} Calibration
 * @typedef {{rev: number, cloth: string, lay: string | null, judged: boolean, columns: [string, string][], rows: CutRow[], before: string[], files: {name: string, kind: string, url: string, words: string}[], kinds: {kind: string, words: string, papers: string[]}[], papers: string[], leftovers: {index: number, width: number, length: number, outline: Line, words: string, kept: string | null}[], calibrations: Calibration[], ready: boolean, why_not: string | null, command: string}} Cut
 */

export {};
