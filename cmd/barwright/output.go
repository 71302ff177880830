package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"barwright/export"
	"barwright/export/draw"
	"barwright/export/model"
	"barwright/export/sheet"
	"barwright/export/table"
	"barwright/fit"
	"barwright/fit/cope"
	"barwright/fit/job"
	"barwright/fit/stock"
	"barwright/mesh"
)

// writeSet writes everything about a job's cage, and the metal to buy for it, to
// dir and returns the number of files. dir has either its earlier content or the whole new set, whatever
// happens.
func writeSet(ctx context.Context, dir string, c *fit.Cage, j *job.Job, metal []stock.TubePlan, p *progress) (files int, err error) {
	p.stage("writing " + dir)
	tubes, all, err := model.Cage(c, model.Options{})
	if err != nil {
		return 0, err
	}
	sheets, err := allSheets(c, j, metal)
	if err != nil {
		return 0, err
	}
	set, err := export.Open(dir)
	if err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, set.Discard())
		}
	}()
	put := func(name string, fill func(io.Writer) error) {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = set.Write(name, fill)
			files++
		}
	}
	solid := func(title string, m *mesh.Mesh) func(io.Writer) error {
		return func(w io.Writer) error { return mesh.WriteSTL(w, title, m) }
	}
	put("cage.json", func(w io.Writer) error { return table.WriteCage(w, c) })
	put("bends.csv", func(w io.Writer) error { return table.WriteBends(w, c) })
	put("bars.csv", func(w io.Writer) error { return table.WriteBars(w, c) })
	put("marks.csv", func(w io.Writer) error { return table.WriteMarks(w, c) })
	put("joints.csv", func(w io.Writer) error { return table.WriteJoints(w, c) })
	put("landings.csv", func(w io.Writer) error { return table.WriteLandings(w, c) })
	put("zones.csv", func(w io.Writer) error { return table.WriteZones(w, c, cope.Zones(c, j.Joints.Bare)) })
	put("plates.csv", func(w io.Writer) error { return table.WritePlates(w, c) })
	put("cuts.csv", func(w io.Writer) error { return table.WriteCuts(w, metal) })
	put("budget.csv", func(w io.Writer) error { return table.WriteBudget(w, c) })
	names := make([]string, len(c.Bars))
	for i, b := range c.Bars {
		names[i] = b.Name
	}
	for i, slug := range model.Slugs(names) {
		put(fmt.Sprintf("models/%s.stl", slug), solid(slug, tubes[i]))
	}
	put("models/cage.stl", solid("cage", all))
	for _, s := range sheets {
		put(s.Name, s.Write)
	}
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return 0, err
	}
	return files, set.Commit()
}

// allSheets returns everything in true size, and the sticks.
func allSheets(c *fit.Cage, j *job.Job, metal []stock.TubePlan) ([]sheet.File, error) {
	paper, inches := paperOf(j), j.Unit == job.Inch
	out, err := sheet.Files(c, j.Dies, paper, inches)
	if err != nil {
		return nil, err
	}
	wraps, err := sheet.WrapFiles(c, paper, inches)
	if err != nil {
		return nil, err
	}
	plates, err := sheet.PlateFiles(c, paper, inches)
	if err != nil {
		return nil, err
	}
	out = append(append(out, wraps...), plates...)
	return append(out, sheet.StickFiles(metal, paper, inches)...), nil
}

// paperOf returns the paper that a job asks for.
func paperOf(j *job.Job) draw.Paper {
	for _, p := range papers {
		if p.Name == j.Paper {
			return p
		}
	}
	return draw.A4
}
