package drivertest

import (
	"errors"
	"io/fs"
	"strings"
	"sync"
	"testing/fstest"
)

// Tree is a folder of the kernel's file interface in memory, with links, and with doors that spoil what is read.
//
// Concurrency: safe for use by several goroutines.
type Tree struct {
	Turns

	mu    sync.Mutex // guards all below
	files fstest.MapFS
	alter func(name, text string) string
}

// NewTree is an empty folder.
func NewTree() *Tree { return &Tree{files: fstest.MapFS{}} }

// Put writes a file.
func (t *Tree) Put(name, text string) {
	t.with(func() { t.files[name] = &fstest.MapFile{Data: []byte(text), Mode: 0o644} })
}

// Link makes a folder a link to another: the kernel's devices lie in the folders of their buses.
func (t *Tree) Link(name, target string) {
	t.with(func() { t.files[name] = &fstest.MapFile{Data: []byte(target), Mode: fs.ModeSymlink} })
}

// Remove takes away a file, a link, and all that lies below.
func (t *Tree) Remove(name string) {
	t.with(func() {
		for f := range t.files {
			if f == name || strings.HasPrefix(f, name+"/") {
				delete(t.files, f)
			}
		}
	})
}

// Alter passes every text that is read through f; nil ends it.
func (t *Tree) Alter(f func(name, text string) string) { t.with(func() { t.alter = f }) }

func (t *Tree) with(f func()) {
	t.mu.Lock()
	defer t.mu.Unlock()
	f()
}

// Open implements fs.FS.
func (t *Tree) Open(name string) (fs.File, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.count(name); err != nil {
		return nil, err
	}
	if t.alter == nil {
		return t.files.Open(name)
	}
	text, err := t.files.ReadFile(name)
	if err != nil || strings.HasSuffix(name, "/name") {
		return t.files.Open(name)
	}
	return fstest.MapFS{name: {Data: []byte(t.alter(name, string(text)))}}.Open(name)
}

func (t *Tree) count(name string) error {
	if t.Take() {
		return &fs.PathError{Op: "read", Path: name, Err: errors.New("input/output error")}
	}
	return nil
}

// ReadLink implements fs.ReadLinkFS.
func (t *Tree) ReadLink(name string) (string, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.count(name); err != nil {
		return "", err
	}
	return t.files.ReadLink(name)
}

// Lstat implements fs.ReadLinkFS.
func (t *Tree) Lstat(name string) (fs.FileInfo, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.files.Lstat(name)
}

// Write implements drivers.Tree.
func (t *Tree) Write(name string, content []byte) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.count(name); err != nil {
		return err
	}
	if t.files[name] == nil {
		return &fs.PathError{Op: "write", Path: name, Err: fs.ErrNotExist}
	}
	t.files[name].Data = content
	return nil
}
