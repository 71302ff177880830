package main

import (
	"context"
	"errors"
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
func writeSet(ctx context.Context, dir string, c *fit.Cage, j *job.Job, metal []stock.TubePlan, p *progress) (int, error) {
	p.stage("writing " + dir)
	tubes, all, err := model.Cage(c, model.Options{})
	if err != nil {
		return 0, err
	}
	sheets, err := allSheets(c, j, metal)
	if err != nil {
		return 0, err
	}
	files := []sheet.File{
		{Name: "cage.json", Write: func(w io.Writer) error { return table.WriteCage(w, c) }},
		{Name: "bends.csv", Write: func(w io.Writer) error { return table.WriteBends(w, c) }},
		{Name: "bars.csv", Write: func(w io.Writer) error { return table.WriteBars(w, c) }},
		{Name: "marks.csv", Write: func(w io.Writer) error { return table.WriteMarks(w, c) }},
		{Name: "joints.csv", Write: func(w io.Writer) error { return table.WriteJoints(w, c) }},
		{Name: "landings.csv", Write: func(w io.Writer) error { return table.WriteLandings(w, c) }},
		{Name: "zones.csv", Write: func(w io.Writer) error { return table.WriteZones(w, c, cope.Zones(c, j.Joints.Bare)) }},
		{Name: "plates.csv", Write: func(w io.Writer) error { return table.WritePlates(w, c) }},
		{Name: "cuts.csv", Write: func(w io.Writer) error { return table.WriteCuts(w, metal) }},
		{Name: "budget.csv", Write: func(w io.Writer) error { return table.WriteBudget(w, c) }},
	}
	solid := func(title string, m *mesh.Mesh) {
		files = append(files, sheet.File{Name: "models/" + title + ".stl", Write: func(w io.Writer) error { return mesh.WriteSTL(w, title, m) }})
	}
	names := make([]string, len(c.Bars))
	for i, b := range c.Bars {
		names[i] = b.Name
	}
	for i, slug := range model.Slugs(names) {
		solid(slug, tubes[i])
	}
	solid("cage", all)
	files = append(files, sheets...)
	return len(files), writeFiles(ctx, dir, files)
}

// writeFiles writes a set of files to dir, which has its earlier content or the
// whole new set, whatever happens.
func writeFiles(ctx context.Context, dir string, files []sheet.File) (err error) {
	set, err := export.Open(dir)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, set.Discard())
		}
	}()
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := set.Write(f.Name, f.Write); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return set.Commit()
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
	if p, ok := paperNamed(j.Paper); ok {
		return p
	}
	return draw.A4
}
